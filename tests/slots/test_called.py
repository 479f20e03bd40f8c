"""A part that bears no code of the catalogue is called what its vehicle file calls it."""

from dataclasses import replace
from typing import Any

import pytest

from configurator.car.described import tables_of
from configurator.car.fitted import vehicle_for
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.slots.slot import SLOTS

SHIPPED = load_catalog(shipped_catalog_dir())
UNSOLD = replace(
    SHIPPED,
    pumps={code: part for code, part in SHIPPED.pumps.items() if code == "pump-3cc-soft"},
    feed_screws={code: part for code, part in SHIPPED.feed_screws.items() if code == "screw-wide"},
)
"""Of what a carburettor came with it sells nothing."""
CAR = {"name": "x", "engine_size": "2 l", "gearbox": "manual", "barrels": "2", "front_nozzle": "0.7"}


@pytest.mark.parametrize(
    ("answers", "slot", "called"),
    [
        ({"front_pump": "standard"}, "front.pump", "standard pump"),
        ({"front_pump": "large"}, "front.pump", "large pump"),
        ({"front_pump": "42 cc in ten"}, "front.pump", "42 cc in ten"),
        ({"front_pump": "1.8 cu in"}, "front.pump", "29.5 cc in ten"),
        ({"front_pump": "pump-3cc-soft"}, "front.pump", "pump-3cc-soft"),
        ({"front_screw": "free flow"}, "front.feed_screw", "free-flow screw"),
        ({"front_screw": "screw-wide"}, "front.feed_screw", "screw-wide"),
    ],
)
def test_what_is_fitted_is_called_as_its_file_has_it(answers: dict[str, str], slot: str, called: str) -> None:
    tables: dict[str, Any] = tables_of({**CAR, **answers})
    case = Case.of(vehicle_for(tables, "x", UNSOLD), UNSOLD)
    assert next(iter(case.options[SLOTS[slot]])).label == called
