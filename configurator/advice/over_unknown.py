"""How far the smallest nozzle may lie from what is said, over the figures of a car that nobody knows.

Each figure that was left out is moved to either end of its range, the others as they are taken; what they move the
nozzle up by, and down by, is put together as independent errors are (the root of the sum of squares). A random sample
over all ranges at once holds it in the tests.
"""

from collections.abc import Iterator
from math import hypot
from typing import TypeVar

from configurator.advice.sensitivity import Bored, with_figures
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
    bored = Bored(circuit, [case.as_fitted])
    (now_mm,) = bored.smallest_mm(case)
    found = []
    for place, (taken, low, high) in unknown_of(case.vehicle):
        (at_low_mm,), (at_high_mm,) = (bored.smallest_mm(with_figures(case, {place: end})) for end in (low, high))
        found.append(
            FigureNotKnown(
                figure=".".join(place), says=TAKEN[place].says, unit=TAKEN[place].unit, taken=taken, low=low, high=high,
                at_low_mm=at_low_mm, at_high_mm=at_high_mm,
            )
        )  # fmt: skip
    if not found:
        return None
    found.sort(key=lambda one: _moved(one, now_mm), reverse=True)
    down, up = (WIDENED * hypot(*(_furthest(one, now_mm, sign) for one in found)) for sign in (-1.0, 1.0))
    from_mm, to_mm = (None, None) if now_mm is None else (round(now_mm - down, 2), round(now_mm + up, 2))
    return NotKnown(circuit=circuit, smallest_mm=now_mm, from_mm=from_mm, to_mm=to_mm, figures=found)


def in_a_sentence(over: NotKnown) -> str:
    """The range, and what to measure first."""
    measure = f"{over.figures[0].says} moves it most: measure that"
    if over.smallest_mm is None or over.from_mm is None or over.to_mm is None:
        return f"{over.circuit}: what is not known of the car decides it; {measure}"
    ends = f"{show_diameter(over.from_mm)} to {show_diameter(over.to_mm)}"
    return f"{over.circuit}: over what is not known of the car the smallest nozzle is {ends}; {measure}"


def matters(one: FigureNotKnown, now_mm: float | None) -> bool:
    """Whether a figure moves the answer by more than a step of the trade's sizes, or makes one come or go."""
    comes_or_goes, mm = _moved(one, now_mm)
    return comes_or_goes or mm > STANDS_STILL_MM


def _furthest(one: FigureNotKnown, now_mm: float | None, sign: float) -> float:
    """How far a figure moves the nozzle one way [mm]."""
    ends = [sign * (end - now_mm) for end in (one.at_low_mm, one.at_high_mm) if end is not None and now_mm is not None]
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
            yield place, figure.of(litres)
