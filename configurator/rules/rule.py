"""What a rule is: one function over named slots that reads a quantity against a limit.

The function works on arrays, so the same one checks a fitted combination, tabulates a whole catalogue by broadcasting
and is quoted in the docs. Two values have a meaning of their own: a limit of infinity says that the rule does not
apply, a quantity that is not a number says that nobody has measured it.
"""

import inspect
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np

from configurator.arrays import Array
from configurator.basis import COMMON_PRACTICE
from configurator.rules.figures import CircuitFigures
from configurator.slots.slot import AXES, CIRCUIT_SLOTS, SHARED_SLOTS, SlotName

Severity = Literal["conflict", "warning", "note"]
Kind = Literal["fit", "cure"]
WRONG: dict[Kind, str] = {"fit": "does not fit", "cure": "will not cure"}
"""What is said where a rule of a kind does not hold. Only what does not fit is impossible: the rest can be tried."""
Quantity = TypeVar("Quantity", float, Array)
Reading = tuple[Array | float, Array | float]
"""Quantity and limit; arrays that broadcast over the rule's slots."""

NOTHING = 1e-9
"""A margin as small as this is none: figures of two decimals do not subtract exactly."""
RuleSlot = SlotName | Literal["shot"]
"""What a rule is about: slots, or what a combination of a circuit's slots delivers, worked out first."""
RULE_SLOTS: tuple[RuleSlot, ...] = (*AXES, "shot")


@dataclass(frozen=True)
class Rule:
    """A rule as everybody reads it: solver, check, docs and explanations.

    id : kebab-case name. statement : plain sentence. kind : whether parts fit each other and the car, or whether the
    fuel they give cures what is felt. slots : what it reads ("nozzle", ..., or "shot"). at_most : whether the quantity
    must stay below the limit. says : what is wrong where it does not hold, in a few words, then a colon and the figures
    {value} and {limit}. mend : what usually helps. limit : name of the limit it takes from the catalogue, whose basis
    and source then hold; else basis and source are the rule's own. unknown : what to do when the quantity was not
    measured. doubtful : below which quantity [its unit] a measurement is likelier mistaken, and what to look at first.
    """

    id: str
    statement: str
    kind: Kind
    slots: tuple[RuleSlot, ...]
    at_most: bool
    unit: str
    severity: Severity
    says: str
    mend: str
    limit: str
    basis: str
    source: str
    unknown: str
    reads: Callable[..., Reading]
    needs: tuple[str, ...]
    doubtful: tuple[float, str] | None = None

    @property
    def wrong(self) -> str:
        """What is wrong where it does not hold, without the figures."""
        return self.says.partition(":")[0]

    def told(self, value: float, limit: float) -> str:
        """What is wrong, its two figures with as many digits as tell them apart; with what to look at first where the
        quantity is hardly possible."""
        figures, shown = {"value": value, "limit": limit}, dict[str, str]()
        for more in range(4):
            shown = {name: f"{figures[name]:.{int(digits) + more}f}" for name, digits in _FIGURE.findall(self.says)}
            if len(set(shown.values())) == len(shown):
                break
        says = _FIGURE.sub(lambda figure: shown[figure[1]], self.says)
        return f"{says}; {self.doubtful[1]}" if self.doubtful and value < self.doubtful[0] else says

    def readings(self, figures: CircuitFigures) -> tuple[Array, Array]:
        """Quantity and limit over the rule's slots, as arrays that broadcast. figures : judged ones where it reads the
        shot or the job."""
        value, limit = self.reads(**{name: getattr(figures, name) for name in self.needs})
        return np.asarray(value, dtype=float), np.asarray(limit, dtype=float)

    def margin(self, figures: CircuitFigures) -> Array:
        """How far inside (at least 0) or outside (below 0), in the rule's unit; nan unmeasured, inf does not apply."""
        value, limit = self.readings(figures)
        with np.errstate(invalid="ignore"):
            margin = self._beyond(value, limit)
        return np.where(np.isinf(limit), np.inf, np.where(np.abs(margin) < NOTHING, 0.0, margin))

    def between(self, value: float, limit: float) -> float:
        """The margin of one reading, whose limit is finite."""
        margin = self._beyond(value, limit)
        return 0.0 if abs(margin) < NOTHING else margin

    def _beyond(self, value: Quantity, limit: Quantity) -> Quantity:
        return limit - value if self.at_most else value - limit

    @property
    def scope(self) -> Literal["circuit", "car", "job"]:
        """What it is asked of: each circuit, the car as a whole, or a list of changes."""
        if "job" in self.needs:
            return "job"
        return "circuit" if "facts" in self.needs or set(self.slots) - set(SHARED_SLOTS) else "car"

    @property
    def is_choosable(self) -> bool:
        """Whether choosing parts can mend it (a rule that reads no slot is about what was found)."""
        return bool(self.slots)

    def circuit_slots(self) -> tuple[SlotName, ...]:
        """The slots it reads, derived ones spelt out."""
        return tuple(name for slot in self.slots for name in (CIRCUIT_SLOTS if slot == "shot" else (slot,)))


_FIGURE = re.compile(r"\{(value|limit):\.(\d)f\}")
RULES: dict[str, Rule] = {}


def rule(
    *,
    kind: Kind,
    at_most: bool,
    unit: str,
    severity: Severity,
    says: str,
    mend: str,
    limit: str = "",
    basis: str = COMMON_PRACTICE,
    source: str = "",
    unknown: str = "",
    doubtful: tuple[float, str] | None = None,
) -> Callable[[Callable[..., Reading]], Callable[..., Reading]]:
    """Make a rule of a function. Its name is the id, its docstring the statement, its parameters fields of
    JudgedFigures."""

    def register(function: Callable[..., Reading]) -> Callable[..., Reading]:
        needs = tuple(inspect.signature(function).parameters)
        slots = tuple(slot for slot in RULE_SLOTS if slot in needs)
        statement = " ".join((inspect.getdoc(function) or "").split())
        identity = function.__name__.replace("_", "-")
        RULES[identity] = Rule(
            id=identity, statement=statement, kind=kind, slots=slots, at_most=at_most, unit=unit, severity=severity,
            says=says, mend=mend, limit=limit, basis=basis, source=source, unknown=unknown, reads=function, needs=needs,
            doubtful=doubtful,
        )  # fmt: skip
        return function

    return register
