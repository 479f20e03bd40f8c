"""Catalogues that name the same part many times: other codes, prices and labour, in no order, some of them in a box."""

import building
import numpy as np

from configurator.catalogue.load import Catalog
from configurator.judging.case import Case

CODES = "qwertyuiopasdfghjkl"


def alike(dice: np.random.Generator, part: object, most: int = 4) -> list[object]:
    """A part and others that differ from it in code, price and labour only; many ties."""
    return [part] + [
        part.model_copy(update={  # type: ignore[attr-defined]
            "code": f"{dice.choice(list(CODES))}-{part.code}-{number}",  # type: ignore[attr-defined]
            "price": float(dice.choice((5.0, 6.5, 8.0, 10.0))), "labour_min": int(dice.choice((10, 15))),
        })
        for number in range(int(dice.integers(0, most)))
    ]  # fmt: skip


def mixed(dice: np.random.Generator, parts: list[object]) -> list[object]:
    """All of them and others like them, in no order."""
    listed = [one for part in parts for one in alike(dice, part)]
    return [listed[place] for place in dice.permutation(len(listed))]


def catalog_of_many(seed: int) -> Catalog:
    """Few kinds, many parts; one pump brings parts that come alone too, and a cheaper one of its kind brings none."""
    dice = np.random.default_rng(seed)
    nozzles = [building.nozzle(size) for size in (0.8, 0.9, 1.1)] + [building.nozzle(0.9, "aimed")]
    pumps = [building.pump(), building.larger_pump(comes_with=("screw-free", "lobe-long"))]
    bare = building.larger_pump("pump-bare", price=float(dice.choice((60.0, 79.0))))
    lobes = [building.lobe("lobe-low", 2.6), building.lobe("lobe-mid", 3.6),
             building.lobe("lobe-long", 4.6, lever="long", phases_deg=(4.0,), price=9.0)]  # fmt: skip
    return building.catalog(
        nozzles=mixed(dice, nozzles), screws=mixed(dice, list(building.SCREWS)), pumps=mixed(dice, [*pumps, bare]),  # type: ignore[arg-type]
        lobes=mixed(dice, lobes), spacers=mixed(dice, [building.spacer(6.0), building.spacer(13.0)]),  # type: ignore[arg-type]
        operations=[building.REDRILL, building.RELIEVE.model_copy(update={"most_mm": 1.0})],
        delay_most_ms=float(dice.choice((50.0, 80.0, 500.0))), sag_most_percent=50.0, smoke_most_ms=2000.0,
    )  # fmt: skip


def case_of_many(seed: int) -> Case:
    """A truck with little room before such a catalogue."""
    dice = np.random.default_rng(seed + 1)
    room = {"pad_clearance_mm": int(dice.choice((16, 19, 22))), "bonnet_clearance_mm": int(dice.choice((12, 40)))}
    return building.case(building.vehicle(manifold=room), catalog_of_many(seed)).with_linkage_set()
