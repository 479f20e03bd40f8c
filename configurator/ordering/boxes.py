"""The cheapest box of one vehicle at given prices of parts: which setups and nozzles to have at hand.

Exact: no box that covers as many scenarios costs less. The price of a part is what one more of it costs the whole
order; what a box sets free for a later day is paid for.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from configurator.arrays import Array
from configurator.catalogue.parts import Joint
from configurator.ordering.box_search import FoundBox, PricedCircuit, Search
from configurator.ordering.circuit_boxes import CircuitBoxes, Drilling, Prices, changes_expected
from configurator.ordering.needs import VehicleNeeds
from configurator.ordering.purchase import Market
from configurator.slots.joints import openers
from configurator.slots.slot import SHARED_SLOTS, Slot


@dataclass(frozen=True)
class Box:
    """Places of setups and nozzles by circuit and of the shared pair; what it takes, sets free and covers.

    takes : parts by code. frees : codes. drills : circuits that use one, and for what diameter [mm]. work : price of
    work on parts, and of labour if that is counted, in hundredths. labour : minutes.
    """

    setups: tuple[tuple[int, ...], ...]
    nozzles: tuple[tuple[int, ...], ...]
    shared: int
    takes: Mapping[str, int] = field(compare=False)
    frees: Mapping[str, int] = field(compare=False)
    drills: tuple[Drilling, ...] = field(compare=False)
    work: int = field(compare=False)
    labour: int = field(compare=False)
    covered: int = field(compare=False)

    def price(self, prices: Prices) -> float:
        """What it costs at these prices."""
        total = prices.work * self.work
        total += sum(count * prices.code.get(code, 0.0) for code, count in self.takes.items())
        total -= sum(count * prices.freed.get(code, 0.0) for code, count in self.frees.items())
        return total + sum(prices.drill.get(drill, 0.0) for drill in self.drills)


def openings(
    needs: VehicleNeeds, setups: Sequence[Sequence[int]], nozzles: Sequence[Sequence[int]], shared: int
) -> Counter[Joint]:
    """How often each joint is opened for what a box holds: the seat of a nozzle for each change of nozzle to be
    expected, or once for a feed screw alone; each other joint once."""
    opened: Counter[Joint] = Counter()
    for circuit, own, tried in zip(needs.circuits, setups, nozzles, strict=True):
        joints = {joint for place in own for joint in circuit.setups[place].joints}
        changes = changes_expected(sum(circuit.nozzles[place].changed for place in tried))
        opened.update(sorted(joints - {"nozzle_seat"}))
        opened["nozzle_seat"] += max(changes, int("nozzle_seat" in joints))
    stack = zip(SHARED_SLOTS, needs.shared[shared], strict=True)
    opened.update(sorted({joint for _, joint in openers(Slot(None, slot) for slot, option in stack if option.changed)}))
    return +opened


class BoxMaker:
    """The boxes of a vehicle. market : only its gaskets and its price of labour are read."""

    def __init__(self, needs: VehicleNeeds, market: Market) -> None:
        self.needs, self.market = needs, market
        self.count = len(needs.scenarios)
        self._gaskets: dict[str, list[tuple[str, int]]] = {}
        for part in market.consumables:
            self._gaskets.setdefault(part.joint, []).append((part.code, part.quantity))
        self.circuits = [CircuitBoxes(place, circuit, market) for place, circuit in enumerate(needs.circuits)]

    def box(self, setups: Sequence[Sequence[int]], nozzles: Sequence[Sequence[int]], shared: int) -> Box:
        """The box that holds these, with everything it comes to."""
        takes: Counter[str] = Counter()
        frees: Counter[str] = Counter()
        drills: set[Drilling] = set()
        work = 0
        jobs: list[int] = []
        """Minutes of each change: every part in the box is fitted once."""
        covered = np.ones(self.count, dtype=bool)
        for circuit, own, tried in zip(self.circuits, setups, nozzles, strict=True):
            asked = {item for place in own for item in circuit.asked(place)}
            options = [circuit.needs.nozzles[place] for place in tried]
            bought = {code for kind, code in asked if kind == "take"}
            takes.update(sorted(bought | {o.code for o in options if o.work == "fit" and o.code}))
            frees.update(code for code in circuit.freed if own and ("keep", code) not in asked)
            drills |= circuit.drilled(tried)
            work += sum(o.price for o in options if o.work == "redrill")
            minutes = {what: m for place in own for what, m in circuit.needs.setups[place].labour_min.items()}
            jobs += [*minutes.values(), *(o.labour_min for o in options)]
            covered &= circuit.needs.covers[np.ix_(own, tried)].any(axis=(0, 1))
        spacer, relief = self.needs.shared[shared]
        if spacer.work == "fit" and spacer.code:
            takes[spacer.code] += 1
        for joint, times in openings(self.needs, setups, nozzles, shared).items():
            takes.update({code: quantity * times for code, quantity in self._gaskets.get(joint, [])})
        jobs += [spacer.labour_min, relief.labour_min]
        work += relief.price + sum(map(self.market.labour, jobs))
        return Box(
            tuple(tuple(sorted(s)) for s in setups), tuple(tuple(sorted(n)) for n in nozzles), shared,
            takes, frees, tuple(sorted(drills)), work, sum(jobs), int(covered.sum()),
        )  # fmt: skip

    @cached_property
    def greatest_takes(self) -> dict[str, int]:
        """The most that one box could take of each code: of one that holds all there is, over every shared pair."""
        every = [range(len(circuit.setups)) for circuit in self.needs.circuits]
        nozzles = [range(len(circuit.nozzles)) for circuit in self.needs.circuits]
        most: Counter[str] = Counter()
        for place in range(len(self.needs.shared)):
            most |= Counter(self.box(every, nozzles, place).takes)
        return dict(most)

    @cached_property
    def drills(self) -> list[Drilling]:
        """Orifices that any of its boxes may drill."""
        return sorted(set().union(*(one.drilled(range(len(one.needs.nozzles))) for one in self.circuits)))

    @cached_property
    def empty(self) -> Box:
        """A box with nothing in it: the vehicle stays as it is, and no scenario counts as covered."""
        none: tuple[tuple[int, ...], ...] = ((),) * len(self.circuits)
        return Box(none, none, 0, {}, {}, (), 0, 0, 0)

    def best(
        self, prices: Prices, enough: int, short_price: float = np.inf, below: float = np.inf
    ) -> tuple[float, Box] | None:
        """The box for which price and shortfall come to least, each scenario short of enough at a price; None where
        that is not below so much. Without such a price the box covers enough, or there is none."""
        nothing = None
        if short_price * enough < below:
            below = short_price * enough
            nothing = below, self.empty
        if not all(circuit.setups for circuit in self.circuits):
            return nothing
        seat, cover = self._joint_price(prices, "nozzle_seat"), self._joint_price(prices, "pump_cover")
        circuits = [PricedCircuit(circuit, prices, seat, cover, enough, short_price) for circuit in self.circuits]
        found = Search(circuits, self._shared_prices(prices)).cheapest(below)
        return nothing if found is None else (found.value, self._of(found))

    def _of(self, found: FoundBox) -> Box:
        setups, nozzles = [], []
        for circuit, has, new in zip(self.circuits, found.held, found.nozzles, strict=True):
            own = (place for assembly in np.flatnonzero(has).tolist() for place in circuit.setups[assembly])
            setups.append(sorted(own))
            fitted = [] if circuit.fitted is None else [circuit.fitted]
            nozzles.append(sorted([*fitted, *circuit.new[new].tolist()]))
        return self.box(setups, nozzles, found.shared)

    def _joint_price(self, prices: Prices, joint: str) -> float:
        return sum(quantity * prices.code.get(code, 0.0) for code, quantity in self._gaskets.get(joint, []))

    def _shared_prices(self, prices: Prices) -> Array:
        """Price of each shared pair, (shared,)."""
        return np.array([box.price(prices) for box in self._stacks])

    @cached_property
    def _stacks(self) -> list[Box]:
        """What each shared pair comes to by itself."""
        none: list[tuple[int, ...]] = [()] * len(self.circuits)
        return [self.box(none, none, place) for place in range(len(self.needs.shared))]
