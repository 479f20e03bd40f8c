"""How far the smallest nozzle may lie from what is said, over the figures of a car that nobody knows.

Each figure that was left out is moved to either end of its range, the others as they are taken; what they move the
nozzle up by, and down by, is put together as independent errors are (the root of the sum of squares). A random sample
over all ranges at once holds it in the tests.
"""

from collections.abc import Iterator
from math import hypot
from typing import TypeVar

import numpy as np

from configurator.advice.sensitivity import TRIED_MM, Bored, highest, with_figures
from configurator.car.unknown import LEFT_OUT, RANGES, TAKEN, Place
from configurator.car.vehicle import Vehicle
from configurator.judging.case import Case
from configurator.learning.as_known import Known
from configurator.reports import AnswerOnCar, FigureNotKnown, NotKnown
from configurator.units.units import show_diameter

WIDENED = 1.2
"""What several unknown figures move together, over what they do by the root of the sum of squares (assumed)."""
STANDS_STILL_MM = 0.03
"""How far a nozzle may still move where the answer is said to stand still: a step of the trade's sizes."""


def over_unknown(case: Case, circuit: str) -> NotKnown | None:
    """The range for the parts that are fitted; None where everything is known."""
    unknown = list(unknown_of(case.vehicle))
    if not unknown:
        return None
    ends = [with_figures(case, {place: end}) for place, (_, *both) in unknown for end in both]
    (now_mm,), *moved = Bored(circuit, [case.as_fitted]).smallest_mm([case, *ends])
    found = [
        FigureNotKnown(
            figure=".".join(place), says=TAKEN[place].says, unit=TAKEN[place].unit, taken=taken, low=low, high=high,
            at_low_mm=at_low_mm, at_high_mm=at_high_mm,
        )
        for (place, (taken, low, high)), (at_low_mm,), (at_high_mm,) in zip(
            unknown, moved[::2], moved[1::2], strict=True
        )
    ]  # fmt: skip
    found.sort(key=lambda one: _moved(one, now_mm), reverse=True)
    if now_mm is None:
        return NotKnown(circuit=circuit, smallest_mm=None, from_mm=None, to_mm=None, figures=found)
    down, up = (WIDENED * hypot(*(_furthest(one, now_mm, sign) for one in found)) for sign in (-1.0, 1.0))
    smallest_mm, largest_mm = TRIED_MM[0], TRIED_MM[-1]
    from_mm, to_mm = (round(float(np.clip(mm, smallest_mm, largest_mm)), 2) for mm in (now_mm - down, now_mm + up))
    return NotKnown(circuit=circuit, smallest_mm=now_mm, from_mm=from_mm, to_mm=to_mm, figures=found)


AS_THEY_ARE = "the screw, pump and lobe that are in"


def in_a_sentence(over: NotKnown) -> str:
    """The range, and what to measure first."""
    most = over.figures[0]
    table, _, key = most.figure.partition(".")
    measure = f"{most.says} moves it most: {'find that out' if TAKEN[table, key].found_out else 'measure that'}"
    if over.from_mm is not None and over.to_mm is not None:
        if over.to_mm <= TRIED_MM[0]:
            return f"{over.circuit}: with {AS_THEY_ARE} any nozzle pulls at once, whatever is not known of the car"
        ends = f"{show_diameter(over.from_mm)} to {show_diameter(over.to_mm)}"
        says = f"with {AS_THEY_ARE} a nozzle of at least {ends} pulls at once, over what is not known of the car"
        return f"{over.circuit}: {says}; {measure}"
    if not _moved(most, None)[0]:
        return f"{over.circuit}: no nozzle pulls at once with {AS_THEY_ARE}, whatever is not known of the car"
    decides = f"what is not known of the car decides whether any nozzle pulls at once with {AS_THEY_ARE}"
    return f"{over.circuit}: {decides}; {measure}"


def matters(one: FigureNotKnown, now_mm: float | None) -> bool:
    """Whether a figure moves the answer by more than a step of the trade's sizes, or makes one come or go."""
    comes_or_goes, mm = _moved(one, now_mm)
    return comes_or_goes or mm > STANDS_STILL_MM


def _furthest(one: FigureNotKnown, now_mm: float, sign: float) -> float:
    """How far a figure moves the nozzle one way [mm]."""
    ends = [sign * (end - now_mm) for end in (one.at_low_mm, one.at_high_mm) if end is not None]
    return max([0.0, *ends])


SomeAnswer = TypeVar("SomeAnswer", bound=AnswerOnCar)


def over_what_is_not_known(report: SomeAnswer, known: Known) -> SomeAnswer:
    """The answer with what `not_known` tells, and what the book holds that cannot be read."""
    aside = [one.says for one in known.set_aside if not one.undone]
    return report.model_copy(update={"not_known": not_known(known), "set_aside": aside})


def not_known(known: Known) -> list[NotKnown]:
    """The range of each circuit, where some figure of the car is not known, and nothing was felt yet: a run says more
    than any figure."""
    if known.belief is not None:
        return []
    found = (over_unknown(known.case, name) for name in known.case.circuit_names)
    return [one for one in found if one is not None]


def _moved(one: FigureNotKnown, now_mm: float | None) -> tuple[bool, float]:
    """Whether an answer comes or goes, and how far it moves [mm]."""
    ends = [end for end in (now_mm, one.at_low_mm, one.at_high_mm) if end is not None]
    return 0 < len(ends) < 3, max(ends) - min(ends) if ends else 0.0


def unknown_of(vehicle: Vehicle) -> Iterator[tuple[Place, tuple[float, float, float]]]:
    """Figures that the file leaves out, with what is taken for each and the ends of its range."""
    litres = vehicle.engine.displacement_cc / 1000
    for place in sorted(vehicle.left_out):
        yield place, LEFT_OUT[place].of(litres)
    for place, figure in RANGES.items():
        table, key = place
        given = getattr(vehicle, table).model_fields_set
        if not {key, figure.or_key} & given and (key != "rear_opens_at_deg" or vehicle.carburettor.barrels == 4):
            taken, low, high = figure.of(litres)
            yield place, (taken, low, highest(vehicle, place, high))
