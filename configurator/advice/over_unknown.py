"""How far the smallest nozzle may lie from what is said, over the figures of a car that nobody knows.

Each figure that was left out is moved to either end of its range, the others as they are taken; what they move the
nozzle up by, and down by, is put together as independent errors are (the root of the sum of squares). A random sample
over all ranges at once holds it in the tests.
"""

from collections.abc import Iterator
from dataclasses import replace
from math import hypot
from typing import TypeVar

from pydantic import Field

from configurator.advice.sensitivity import Bored
from configurator.car.unknown import LEFT_OUT, RANGES, WORDS, Place
from configurator.car.vehicle import Vehicle
from configurator.judging.case import Case
from configurator.reports import AnswerOnCar, Report
from configurator.units.units import show_diameter


class Moves(Report):
    """A figure that is not known, and how far it moves the smallest nozzle."""

    figure: str = Field(description="table and key of the vehicle file")
    says: str = Field(description="what it is, in words")
    low: float = Field(description="low end of its range, in the unit of its key")
    high: float = Field(description="high end")
    at_low_mm: float | None = Field(description="smallest nozzle there, mm; null where none from 0.35 to 1.8 mm does")
    at_high_mm: float | None = Field(description="the same at the high end")

    def matters(self, now_mm: float | None) -> bool:
        """Whether it moves the answer by more than orifices of one size scatter, or makes one come or go."""
        comes_or_goes, mm = _moved(self, now_mm)
        return comes_or_goes or mm > STANDS_STILL_MM


WIDENED = 1.2
"""What several unknown figures move together, over what they do by the root of the sum of squares (assumed)."""
STANDS_STILL_MM = 0.03
"""How far a nozzle may still move where the answer is said to stand still: a step of the trade's sizes."""


class OverUnknown(Report):
    """The smallest nozzle of one circuit over what is not known, with screw, pump and lobe as they are."""

    circuit: str = Field(description="front or rear")
    smallest_mm: float | None = Field(description="with every figure as it is taken, mm; null where none does")
    from_mm: float | None = Field(description="smallest of its range, mm; null where none does as taken")
    to_mm: float | None = Field(description="largest of its range, mm")
    moves: list[Moves] = Field(description="each figure that is not known, what moves it most first")

    @property
    def says(self) -> str:
        """The range, and what to measure first, in a sentence; empty where nothing is unknown."""
        if not self.moves:
            return ""
        first = self.moves[0]
        measure = f"{first.says} moves it most: measure that"
        if self.smallest_mm is None or self.from_mm is None or self.to_mm is None:
            return f"{self.circuit}: what is not known of the car decides it; {measure}"
        ends = f"{self.from_mm:.2f} to {show_diameter(self.to_mm)}"
        return f"{self.circuit}: over what is not known of the car the smallest nozzle is {ends}; {measure}"


def over_unknown(case: Case, circuit: str) -> OverUnknown:
    """The range for the parts that are fitted."""
    bored = Bored(circuit, [case.as_fitted])
    (now_mm,) = bored.smallest_mm(case)
    moves = []
    for place, low, high in unknown_of(case.vehicle):
        (at_low_mm,), (at_high_mm,) = (bored.smallest_mm(with_figures(case, {place: end})) for end in (low, high))
        moves.append(
            Moves(
                figure=".".join(place),
                says=WORDS[place],
                low=low,
                high=high,
                at_low_mm=at_low_mm,
                at_high_mm=at_high_mm,
            )
        )
    moves.sort(key=lambda one: _moved(one, now_mm), reverse=True)
    ends = [
        [end - now_mm for end in (one.at_low_mm, one.at_high_mm) if end is not None] if now_mm else [] for one in moves
    ]
    down, up = (
        WIDENED * hypot(*(max([0.0, *(sign * step for step in steps)]) for steps in ends)) for sign in (-1.0, 1.0)
    )
    from_mm, to_mm = (None, None) if now_mm is None else (round(now_mm - down, 2), round(now_mm + up, 2))
    return OverUnknown(circuit=circuit, smallest_mm=now_mm, from_mm=from_mm, to_mm=to_mm, moves=moves)


SomeAnswer = TypeVar("SomeAnswer", bound=AnswerOnCar)


def over_what_is_not_known(report: SomeAnswer, case: Case) -> SomeAnswer:
    """The answer with the range of each circuit, where some figure of the car is not known."""
    says = [over_unknown(case, name).says for name in case.circuit_names]
    return report.model_copy(update={"not_known": [one for one in says if one]})


def _moved(one: Moves, now_mm: float | None) -> tuple[bool, float]:
    """Whether an answer comes or goes, and how far it moves [mm]."""
    ends = [end for end in (now_mm, one.at_low_mm, one.at_high_mm) if end is not None]
    return 0 < len(ends) < 3, max(ends) - min(ends) if ends else 0.0


def unknown_of(vehicle: Vehicle) -> Iterator[tuple[Place, float, float]]:
    """Figures that the file leaves out, with the ends of their ranges."""
    litres = vehicle.engine.displacement_cc / 1000
    for place in sorted(vehicle.left_out):
        yield place, *LEFT_OUT[place].of(litres)[1:]
    for place, figure in RANGES.items():
        table, key = place
        given = getattr(vehicle, table).model_fields_set
        if not {key, figure.or_key} & given and (key != "rear_opens_at_deg" or vehicle.carburettor.barrels == 4):
            yield place, *figure.of(litres)[1:]


def with_figures(case: Case, figures: dict[Place, float]) -> Case:
    """The case with figures of the vehicle file put in."""
    vehicle = case.vehicle
    for (table, key), value in figures.items():
        changed = getattr(vehicle, table).model_copy(update={key: value})
        vehicle = vehicle.model_copy(update={table: changed})
    return replace(case, car=replace(case.car, vehicle=vehicle))
