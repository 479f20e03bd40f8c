"""Wishes in the user's words: what each word means, and what is said of one that means nothing."""

import os
import stat
from pathlib import Path

import building
import pytest

from configurator.car.assumed import BEYOND_ASSUMED_RANGE
from configurator.car.fitted import FittedNozzle
from configurator.errors import BadInput
from configurator.judging.band import band_of
from configurator.judging.case import Case
from configurator.physics.assumptions import Assumptions
from configurator.slots.columns import Mount
from configurator.slots.slot import SLOTS, Slot
from configurator.slots.wishes import pick, read_wishes, slot_asked
from configurator.views.pictures import save_bands


def picked(case: Case, *words: str) -> dict[Slot, int]:
    return pick(case.options, read_wishes(case.options, [], list(words), []))


def test_a_code_means_a_new_part_where_the_fitted_one_measures_otherwise() -> None:
    case = building.case(building.vehicle(front={"nozzle": "straight-0.80", "nozzle_measured": "0.84 mm"}))
    chosen = case.options[SLOTS["front.nozzle"]][picked(case, "front.nozzle=straight-0.80")[SLOTS["front.nozzle"]]]
    assert chosen.changed and isinstance(chosen.figures, FittedNozzle) and chosen.figures.diameter_mm == 0.80
    true_to_its_code = building.case(building.vehicle(front={"nozzle": "straight-0.80"}))
    assert picked(true_to_its_code, "front.nozzle=straight-0.80")[SLOTS["front.nozzle"]] == 0


def test_a_phase_alone_means_the_fitted_lobe() -> None:
    case = building.case(building.vehicle())
    fitted = case.as_fitted[SLOTS["front.lobe"]].figures
    assert isinstance(fitted, Mount) and len(fitted.lobe.phases_deg) > 1
    for phase in fitted.lobe.phases_deg:
        figures = case.options[SLOTS["front.lobe"]][picked(case, f"front.phase={phase:g}")[SLOTS["front.lobe"]]].figures
        assert isinstance(figures, Mount) and (figures.lobe, figures.phase_deg) == (fitted.lobe, phase)
    with pytest.raises(BadInput, match=r"front\.lobe.*'59'"):
        picked(case, "front.phase=59")


@pytest.mark.parametrize("size", ["0.80mm", "31.5thou", "0.0315 in"])
def test_a_size_may_be_typed_in_any_unit(size: str) -> None:
    case = building.case(building.vehicle())
    figures = case.options[SLOTS["front.nozzle"]][picked(case, f"front.nozzle={size}")[SLOTS["front.nozzle"]]].figures
    assert isinstance(figures, FittedNozzle) and figures.diameter_mm == pytest.approx(0.80, abs=0.013)


@pytest.mark.parametrize("name", list(Assumptions.__dataclass_fields__))
def test_an_assumed_figure_far_outside_its_range_is_refused(name: str) -> None:
    meta = Assumptions.__dataclass_fields__[name].metadata
    room = BEYOND_ASSUMED_RANGE * (meta["high"] - meta["low"])
    for value in (meta["low"] - 1.01 * room, meta["high"] + 1.01 * room, 1e300, -1e300):
        with pytest.raises(BadInput, match=rf"\[assumed\] {name}: found .*; expected "):
            building.case(building.vehicle(assumed={name: value}))
    for value in (meta["low"] - 0.99 * room, meta["high"] + 0.99 * room):
        case = building.case(building.vehicle(assumed={name: value}))
        listed = {slot: (option,) for slot, option in case.as_fitted.items()}
        assert case.columns("front", listed).shot.delay_ms.item() >= 0.0


def test_a_picture_may_be_read_by_whom_the_user_lets_read(tmp_path: Path) -> None:
    case = building.case(building.vehicle())
    before = os.umask(0o022)
    try:
        save_bands([band_of(case, "front", case.as_fitted)], tmp_path / "shot.svg")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "shot.svg").stat().st_mode) == 0o644


def test_of_two_slots_with_wishes_at_odds_the_first_named_is_told() -> None:
    case = building.case(building.vehicle())
    nozzles = ["front.nozzle=0.80mm", "front.nozzle=1.00mm"]
    lobes = [f"front.phase={phase:g}" for phase in _phases(case)[:2]]
    for words, slot in ((nozzles + lobes, "front.nozzle"), (lobes + nozzles, "front.lobe")):
        with pytest.raises(BadInput, match=rf"the wishes for {slot} exclude each other"):
            picked(case, *words)


def _phases(case: Case) -> tuple[float, ...]:
    fitted = case.as_fitted[SLOTS["front.lobe"]].figures
    assert isinstance(fitted, Mount)
    return fitted.lobe.phases_deg


def refused(case: Case, *, keep: str = "", fit: str = "", avoid: str = "") -> str:
    with pytest.raises(BadInput) as caught:
        read_wishes(case.options, [keep] if keep else [], [fit] if fit else [], [avoid] if avoid else [])
    return str(caught.value)


def test_of_one_circuit_its_name_may_be_left_out() -> None:
    case = building.case(building.vehicle())
    for long, short in (("front.nozzle=1.00mm", "nozzle=1.00mm"), ("front.phase=8", "phase=8"),
                        ("front.pump=pump-large", "pump=pump-large")):  # fmt: skip
        assert picked(case, long) == picked(case, short) != picked(case)
    (kept,) = read_wishes(case.options, ["nozzle"], [], [])
    assert (kept.slot, kept.allowed) == (SLOTS["front.nozzle"], frozenset({0}))
    assert slot_asked(case.options, "nozzle") == slot_asked(case.options, "front.nozzle")
    assert slot_asked(case.options, "nozzle=1.00mm") == slot_asked(case.options, "front.nozzle=1.00mm")


def test_of_two_circuits_a_part_to_fit_is_asked_for_and_what_is_kept_means_both() -> None:
    case = building.case(building.two_circuits())
    said = "there is a nozzle in each circuit; expected front.nozzle or rear.nozzle"
    assert refused(case, fit="nozzle=1.00mm") == f"with nozzle=1.00mm: {said}"
    for word in ("nozzle", "nozzle=1.00mm"):
        with pytest.raises(BadInput, match=f"{word}: {said}"):
            slot_asked(case.options, word)
    kept = read_wishes(case.options, ["nozzle"], [], [])
    assert [wish.slot for wish in kept] == [SLOTS["front.nozzle"], SLOTS["rear.nozzle"]]


@pytest.mark.parametrize("style", ["aimed", "straight"])
def test_a_style_is_avoided_by_its_name_but_what_is_fitted_may_stay(style: str) -> None:
    both = [building.nozzle(size, kind) for size in (0.70, 0.80, 0.90) for kind in ("straight", "aimed")]
    case = building.case(building.vehicle(), building.catalog(both))
    options = case.options[SLOTS["front.nozzle"]]
    (wish,) = read_wishes(case.options, [], [], [style])
    styles = {options[place].read(FittedNozzle).style for place in wish.allowed if place}
    assert wish.slot == SLOTS["front.nozzle"] and 0 in wish.allowed and styles == {"aimed", "straight"} - {style}


@pytest.mark.parametrize(
    ("words", "said"),
    [({"avoid": "aimd"}, "did you mean aimed?"), ({"avoid": "straight-0.83"}, "straight-0.80 or straight-0.90?"),
     ({"fit": "nozzle=straight-0.83"}, "did you mean straight-0.80 or straight-0.90?"),
     ({"fit": "nozle=0.80mm"}, "did you mean nozzle?"), ({"keep": "nozle"}, "did you mean nozzle?")],
)  # fmt: skip
def test_a_word_that_means_nothing_is_answered_with_what_was_meant(words: dict[str, str], said: str) -> None:
    assert refused(building.case(building.vehicle()), **words).endswith(said)
