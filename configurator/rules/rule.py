"""What a rule is: one function over named slots that reads a quantity against a limit.

The function works on arrays, so the same one checks a fitted combination, tabulates a whole catalogue by broadcasting
and is quoted in the docs. Two values have a meaning of their own: a limit of infinity says that the rule does not
apply, a quantity that is not a number says that nobody has measured it.
"""

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from configurator.arrays import Array
from configurator.basis import COMMON_PRACTICE

Severity = Literal["conflict", "warning", "note"]
Reading = tuple[Any, Any]
"""Quantity and limit; arrays that broadcast over the rule's slots."""

NOTHING = 1e-9
"""A margin as small as this is none: figures of two decimals do not subtract exactly."""
SHARED_SLOTS = ("spacer", "pad_relief")
CIRCUIT_SLOTS = ("nozzle", "feed_screw", "pump", "lobe")
DERIVED_SLOTS = {"shot": CIRCUIT_SLOTS}
"""What a combination of a circuit's slots delivers: worked out first, then ruled on."""


@dataclass(frozen=True)
class Rule:
    """A rule as everybody reads it: solver, check, docs and explanations.

    id : kebab-case name. statement : plain sentence. slots : what it reads ("nozzle", ..., or "shot"). at_most :
    whether the quantity must stay below the limit. says : sentence with {value} and {limit}. mend : what usually helps.
    limit : name of the limit it takes from the catalogue, whose basis and source then hold; else basis and source are
    the rule's own. unknown : what to do when the quantity was not measured.
    """

    id: str
    statement: str
    slots: tuple[str, ...]
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

    def readings(self, columns: Mapping[str, Any]) -> tuple[Array, Array]:
        """Quantity and limit over the rule's slots, as arrays that broadcast; columns maps each name it needs."""
        value, limit = self.reads(**{name: columns[name] for name in self.needs})
        return np.asarray(value, dtype=float), np.asarray(limit, dtype=float)

    def margin(self, columns: Mapping[str, Any]) -> Array:
        """How far inside (at least 0) or outside (below 0), in the rule's unit; nan unmeasured, inf does not apply."""
        value, limit = self.readings(columns)
        with np.errstate(invalid="ignore"):
            margin = self._beyond(value, limit)
        return np.where(np.isinf(limit), np.inf, np.where(np.abs(margin) < NOTHING, 0.0, margin))

    def between(self, value: float, limit: float) -> float:
        """The margin of one reading, whose limit is finite."""
        margin = self._beyond(value, limit)
        return 0.0 if abs(margin) < NOTHING else margin

    def _beyond(self, value: Any, limit: Any) -> Any:
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

    def circuit_slots(self) -> tuple[str, ...]:
        """The slots it reads, derived ones spelt out."""
        return tuple(name for slot in self.slots for name in DERIVED_SLOTS.get(slot, (slot,)))


CONTEXT = ("facts", "car", "job", "limits")
"""What a rule may read besides slots."""

RULES: dict[str, Rule] = {}


def rule(
    *,
    at_most: bool,
    unit: str,
    severity: Severity,
    says: str,
    mend: str,
    limit: str = "",
    basis: str = COMMON_PRACTICE,
    source: str = "",
    unknown: str = "",
) -> Callable[[Callable[..., Reading]], Callable[..., Reading]]:
    """Make a rule of a function. Its name is the id, its docstring the statement, its parameters the slots it reads
    (besides those of CONTEXT)."""

    def register(function: Callable[..., Reading]) -> Callable[..., Reading]:
        needs = tuple(inspect.signature(function).parameters)
        slots = tuple(name for name in needs if name not in CONTEXT)
        statement = " ".join((inspect.getdoc(function) or "").split())
        identity = function.__name__.replace("_", "-")
        RULES[identity] = Rule(
            id=identity, statement=statement, slots=slots, at_most=at_most, unit=unit, severity=severity, says=says,
            mend=mend, limit=limit, basis=basis, source=source, unknown=unknown, reads=function, needs=needs,
        )  # fmt: skip
        return function

    return register
