"""The ladder: every run stands at its own size, beside its own parts, and the likely sizes are those a sweep finds."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from random_cars import random_car
from web_page import CATALOG

from configurator.advice.ladder import LIKELY_SHARE, Ladder, ladder_of
from configurator.advice.next_step import NextReport, what_next
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.car.fitted import FittedNozzle, vehicle_for
from configurator.judging.case import Case
from configurator.learning.as_known import Known, known_by
from configurator.learning.nozzle_sizes import nozzle_sizes
from configurator.slots.slot import Slot
from configurator.slots.wishes import chosen_parts

BEGAN = datetime(2026, 5, 2, 10, tzinfo=UTC)
FRONT = {
    "nozzle": "straight-0.80",
    "feed_screw": "screw-plain",
    "pump": "pump-3cc",
    "lobe": "lobe-fell",
    "phase_deg": 6,
}


def driven(seed: int, made: list[tuple[str, str, str]]) -> tuple[Known, list[Trial]]:
    """A random car with runs of (size, lobe, feeling)."""
    tables = {"name": "car", **random_car(seed), "fitted": {"front": FRONT}}
    case = Case.of(vehicle_for(tables, "car", CATALOG), CATALOG)
    runs = []
    for place, (size, lobe, word) in enumerate(made, 1):
        choice = chosen_parts(case.options, [f"front.nozzle=straight-{size}", f"front.lobe={lobe}"])
        felt = Felt(word=word, strength="faint" if place == 2 else "clear")
        run = trial_of(case, BEGAN + timedelta(hours=place), felt, Conditions(), choice=choice)
        runs.append(run.model_copy(update={"number": place}))
    return known_by(case, runs), runs


def ladder(known: Known, runs: list[Trial]) -> tuple[Ladder, NextReport]:
    step = what_next(known)
    return ladder_of(known, "front", runs, step), step


@pytest.mark.parametrize("seed", [3, 11])
def test_every_run_stands_at_its_size_and_with_its_parts(seed: int) -> None:
    made = [("0.70", "fitted@6", "stumble"), ("0.80", "fitted@6", "stumble"), ("0.90", "fitted@0", "smoke")]
    known, runs = driven(seed, made)
    found, _ = ladder(known, runs)
    assert found.earlier == len(runs) - len(found.marks)
    for mark in found.marks:
        size, _, word = made[mark.number - 1]
        assert (mark.diameter_mm, mark.word, mark.faint) == (float(size), word, mark.number == 2)
        assert mark.diameter_mm in found.rungs_mm
        parts = [runs[mark.number - 1].codes[str(Slot("front", one))] for one in ("feed_screw", "pump", "lobe")]
        assert list(found.columns[mark.column]) == parts
    assert list(found.rungs_mm) == sorted(set(found.rungs_mm)) and found.fitted_mm in found.rungs_mm


@pytest.mark.parametrize("seed", [3, 11, 19])
def test_what_is_next_and_what_is_likely_are_what_the_commands_say(seed: int) -> None:
    known, runs = driven(seed, [("0.80", "fitted@6", "stumble")])
    found, step = ladder(known, runs)
    to = {change.slot: change.to for change in step.changes}
    after = dict(known.case.as_fitted)
    for slot, options in known.case.options.items():
        after[slot] = options.labelled(to.get(str(slot), "")) or after[slot]
    nozzle = after[Slot("front", "nozzle")].read(FittedNozzle)
    assert found.next_mm == (nozzle.diameter_mm if step.changes else None)
    sizes = nozzle_sizes(known.case, "front", after, known.belief).sizes
    shares = np.array([size.right * size.keeps_rules for size in sizes])
    if found.likely_mm is None:
        assert shares.max() < 0.1
        return
    low, high = found.likely_mm
    inside = [share for size, share in zip(sizes, shares, strict=True) if low <= size.diameter_mm <= high]
    assert max(inside) == shares.max() and min(inside) >= LIKELY_SHARE * shares.max()


def test_what_no_column_is_left_for_is_counted() -> None:
    lobes = ("fitted@6", "fitted@0", "lobe-beck@0", "lobe-cairn@0", "lobe-crag@8")
    made = [(("0.70", "0.80", "0.90")[n % 3], lobes[n % 5], "stumble") for n in range(15)]
    known, runs = driven(3, made)
    found, _ = ladder(known, runs)
    assert len(found.columns) == 3 and found.earlier == len(runs) - len(found.marks) > 0
    assert {mark.column for mark in found.marks} <= {0, 1, 2}
