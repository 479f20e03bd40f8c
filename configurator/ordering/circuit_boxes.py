"""One circuit of a vehicle as a box is made for it: what its setups ask for, and what sets of them cover.

Setups that ask for the same are one assembly: whoever can have one of them can have all, so none is left out.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from configurator.arrays import Indices, Mask
from configurator.ordering.needs import CircuitNeeds, diameter_mm
from configurator.ordering.purchase import Market

Masks = NDArray[np.int64]
"""Scenarios covered, one bit each."""
Item: TypeAlias = tuple[Literal["take", "keep", "open", "change"], str]
"""A code that is taken, a fitted one that is kept in use, a joint that is opened, or work that is done."""
Drilling: TypeAlias = tuple[int, float]
"""Use of a drill: the place of the circuit, and the diameter of the orifice [mm]."""
SEAT: Item = ("open", "nozzle_seat")


@dataclass(frozen=True)
class Prices:
    """What one more of each code costs, and what one set free brings, by code; a drill's price is for its use once."""

    code: Mapping[str, float]
    freed: Mapping[str, float]
    drill: Mapping[Drilling, float]
    work: float = 1.0
    """What a hundredth spent on work costs: 1 where money is what counts."""


def changes_expected(new: int) -> int:
    """Changes of nozzle to expect with so many new ones in the box, tried in turn: half of them and one more."""
    return (new + 2) // 2 if new else 0


class CircuitBoxes:
    """What does not depend on prices: assemblies, what they ask for, and what sets of them cover (each by a number)."""

    def __init__(self, place: int, needs: CircuitNeeds, market: Market) -> None:
        """place : of the circuit among those of its vehicle. market : only its price of labour is read."""
        self.place, self.needs, self.market = place, needs, market
        weights = np.int64(1) << np.arange(needs.covers.shape[-1], dtype=np.int64)
        by_setup = (needs.covers * weights).sum(axis=-1).astype(np.int64)
        self.diameters = [round(diameter_mm(option), 3) for option in needs.nozzles]
        self.new = np.array([place for place, o in enumerate(needs.nozzles) if o.changed], dtype=np.intp)
        self.fitted = next((place for place, o in enumerate(needs.nozzles) if not o.changed), None)
        self.freed = sorted({code for setup in needs.setups for code in setup.frees})
        alike: dict[tuple[frozenset[Item], bytes], list[int]] = {}
        for place in np.flatnonzero(by_setup.any(axis=1)).tolist():
            key = frozenset(self.asked(place)), needs.setups[place].goes_with.tobytes()
            alike.setdefault(key, []).append(place)
        self.setups = list(alike.values())
        """Setups of each assembly."""
        asked = [items for items, _ in alike]
        self.items: list[Item] = sorted(set().union(*asked))
        minutes = {what: own for setup in needs.setups for what, own in setup.labour_min.items()}
        self.labour = {what: market.labour(own) for what, own in minutes.items()}
        """Price of each change, in hundredths."""
        self.nozzle_labour = [market.labour(option.labour_min) for option in needs.nozzles]
        self.asks = np.array([[item in own for item in self.items] for own in asked], dtype=bool)
        """Whether each assembly asks for each item, (assemblies, items)."""
        self.asks = self.asks.reshape(len(asked), len(self.items))
        goes_with = [needs.setups[own[0]].goes_with for own in self.setups]
        self.goes_with = np.array(goes_with, dtype=bool).reshape(
            len(asked), len(needs.setups[0].goes_with) if asked else 0
        )
        """Shared pairs that each assembly goes with, (assemblies, shared)."""
        masks = [np.bitwise_or.reduce(by_setup[own], axis=0) for own in self.setups]
        self._masks = np.array(masks, dtype=np.int64).reshape(len(asked), len(needs.nozzles))
        self._numbers: dict[bytes, int] = {}
        self._without: dict[tuple[int, int], int] = {}
        self._count = 0
        count = len(self.new)
        self.held = np.zeros((0, len(asked)), dtype=bool)
        """Assemblies of each set, (sets, assemblies); here and below there is room for sets to come."""
        self.start = np.zeros(0, dtype=np.int64)
        """What the fitted nozzle covers with each set, (sets,)."""
        self.used = np.zeros((0, len(self.items)), dtype=bool)
        """Whether each set asks for each item, (sets, items)."""
        self.reach = np.zeros(0, dtype=np.int64)
        """What each set covers with all nozzles, (sets,)."""
        self.masks = np.zeros((0, count), dtype=np.int64)
        """What each new nozzle covers with each set, the fitted one in place, (sets, new nozzles)."""

    def drilled(self, nozzles: Iterable[int]) -> set[Drilling]:
        """What drills are used for some nozzles."""
        return {(self.place, self.diameters[at]) for at in nozzles if self.needs.nozzles[at].work == "redrill"}

    def asked(self, place: int) -> Iterator[Item]:
        """All that a setup asks for."""
        setup = self.needs.setups[place]
        yield from (("take", code) for code in setup.codes)
        yield from (("keep", code) for code in self.freed if code not in setup.frees)
        yield from (("open", joint) for joint in setup.joints)
        yield from (("change", what) for what, minutes in setup.labour_min.items() if self.market.labour(minutes))

    def numbers(self, held: Mask) -> Indices:
        """Numbers of sets of assemblies, (sets,); held : (sets, assemblies)."""
        keys = [row.tobytes() for row in np.packbits(held, axis=1)]
        fresh = {key: place for place, key in enumerate(keys) if key not in self._numbers}
        for key, place in fresh.items():
            self._numbers[key] = self._put(held[place])
        return np.array([self._numbers[key] for key in keys], dtype=np.intp)

    def _put(self, held: Mask) -> int:
        """The number of a set that is new."""
        number, room = self._count, len(self.start)
        if number == room:
            for name in ("held", "start", "used", "reach", "masks"):
                table = getattr(self, name)
                more = np.zeros((max(64, room), *table.shape[1:]), dtype=table.dtype)
                setattr(self, name, np.concatenate([table, more]))
        every = np.bitwise_or.reduce(self._masks[held], axis=0, initial=0)
        start = 0 if self.fitted is None else every[self.fitted]
        self.held[number], self.start[number], self.masks[number] = held, start, every[self.new] | start
        self.used[number], self.reach[number] = self.asks[held].any(axis=0), np.bitwise_or.reduce(every, initial=0)
        self._count += 1
        return number

    def without(self, sets: Indices, item: int) -> Indices:
        """Numbers of the sets left of some when all that ask for an item are given up."""
        known = self._without
        fresh = [number for number in sets.tolist() if (number, item) not in known]
        if fresh:
            found = self.numbers(self.held[fresh] & ~self.asks[:, item])
            known.update(zip(((number, item) for number in fresh), found.tolist(), strict=True))
        return np.array([known[number, item] for number in sets.tolist()], dtype=np.intp)

    def by_assembly(self, new: Sequence[int]) -> Masks:
        """What each assembly covers with the fitted nozzle and some of the new ones, (assemblies,)."""
        tried = [*([] if self.fitted is None else [self.fitted]), *self.new[list(new)].tolist()]
        return np.asarray(np.bitwise_or.reduce(self._masks[:, tried], axis=1, initial=0))
