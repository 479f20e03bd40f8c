"""The four vehicles of Tarn Lane Garage: different enough for every rule to be broken by one of them."""

from functools import cache
from pathlib import Path

import pytest

from configurator.car.vehicle import Vehicle, load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.errors import BadInput
from configurator.judging.case import Case
from configurator.judging.findings import check
from configurator.rules import RULES
from configurator.slots.wishes import read_wishes

CATALOG = load_catalog(shipped_catalog_dir())
LOOKS: dict[str, list[tuple[str, ...]]] = {
    "roadster": [(), ("front.phase=0",), ("front.nozzle=0.60mm",)],
    "tow-truck": [(), ("front.pump=pump-5cc",), ("spacer=spacer-25",)],
    "hill-climber": [()],
    "van": [()],
}
"""Each example as fitted, and with what a tuner might think of next."""
NOT_OF_THE_EXAMPLES = {
    "rated-flow-is-not-implausibly-small", "rated-flow-is-not-implausibly-large", "every-joint-opened-gets-its-gaskets",
    "every-carburettor-gets-the-same", "right-for-enough-engines", "mixture-does-not-pop-back",
    "main-jets-suit-the-altitude", "overall-ratio-has-the-gear-in-it", "mass-is-not-implausibly-small",
    "nozzle-is-no-smaller-than-was-too-small", "nozzle-is-no-larger-than-was-large-enough",
    "shot-is-no-less-than-was-too-little", "shot-is-no-more-than-smoked", "pull-is-not-drowned",
    "shot-is-no-slower-than-was-too-little",
}  # fmt: skip
"""Rules that speak of a slipped digit, of a catalogue that lacks a gasket, of more than one carburettor or of what runs
leave open, of a mixture far leaner than any of theirs, and of main jets for another height."""


def case_of(name: str) -> Case:
    return Case.of(load_vehicle(Path(shipped_catalog_dir()) / "examples" / f"{name}.toml"), CATALOG)


@cache
def broken_by(name: str) -> frozenset[str]:
    case = case_of(name)
    reports = [check(case, read_wishes(case.options, [], list(words), [])) for words in LOOKS[name]]
    return frozenset(finding.rule for report in reports for finding in report.findings if finding.holds is False)


def test_every_rule_is_broken_by_an_example() -> None:
    assert frozenset().union(*(broken_by(name) for name in LOOKS)) == set(RULES) - NOT_OF_THE_EXAMPLES


@pytest.mark.parametrize("name", LOOKS)
def test_each_example_breaks_something_no_other_does(name: str) -> None:
    others = frozenset().union(*(broken_by(other) for other in LOOKS if other != name))
    assert broken_by(name) - others


def test_a_slack_linkage_with_a_lobe_of_another_lever_is_checked() -> None:
    """No shot can be worked out then; the slack is told all the same."""
    vehicle = case_of("roadster").vehicle
    front = vehicle.fitted.front.model_copy(update={"lobe": "lobe-force", "phase_deg": 0.0, "slack_mm": 0.5})
    fitted = vehicle.fitted.model_copy(update={"front": front})
    report = check(Case.of(vehicle.model_copy(update={"fitted": fitted}), CATALOG), [])
    assert {"linkage-has-no-slack", "lobe-is-made-for-the-lever"} <= {
        f.rule for f in report.findings if f.holds is False
    }


def test_a_misspelt_lever_of_a_part_in_place_is_told() -> None:
    tables = load_vehicle(shipped_catalog_dir() / "examples" / "hill-climber.toml").model_dump(
        mode="json", exclude_none=True
    )
    tables["fitted"]["front"]["lobe"]["lever"] = "shrot"
    said = (
        r"\[fitted\.front\] lobe\.lever: no part has a lever 'shrot'; expected one of long, short; did you mean short"
    )
    with pytest.raises(BadInput, match=said):
        Case.of(Vehicle.model_validate(tables), CATALOG)
