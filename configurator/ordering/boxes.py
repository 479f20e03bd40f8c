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
from configurator.ordering.box_search import CircuitBoxes, Prices, Search, changes_expected, cheapest_pair, seats_opened
from configurator.ordering.needs import VehicleNeeds
from configurator.ordering.purchase import Market


@dataclass(frozen=True)
class Box:
    """Places of setups and nozzles by circuit and of the shared pair; what it takes, sets free and covers.

    takes : parts by code. frees : codes. drills : diameters [mm]. work : price of work on parts, in hundredths.
    """

    setups: tuple[tuple[int, ...], ...]
    nozzles: tuple[tuple[int, ...], ...]
    shared: int
    takes: Mapping[str, int] = field(compare=False)
    frees: Mapping[str, int] = field(compare=False)
    drills: tuple[float, ...] = field(compare=False)
    work: int = field(compare=False)
    labour: int = field(compare=False)
    covered: int = field(compare=False)

    def price(self, prices: Prices) -> float:
        """What it costs at these prices."""
        total = prices.work * self.work
        total += sum(count * prices.code.get(code, 0.0) for code, count in self.takes.items())
        total -= sum(count * prices.freed.get(code, 0.0) for code, count in self.frees.items())
        return total + sum(prices.drill.get(drill, 0.0) for drill in self.drills)


class BoxMaker:
    """The boxes of a vehicle. market : only its gaskets are read."""

    def __init__(self, needs: VehicleNeeds, market: Market) -> None:
        self.needs, self.market = needs, market
        self.count = len(needs.scenarios)
        self._gaskets: dict[str, list[tuple[str, int]]] = {}
        for part in market.consumables:
            self._gaskets.setdefault(part.joint, []).append((part.code, part.quantity))
        self.circuits = [CircuitBoxes(circuit) for circuit in needs.circuits]

    def box(self, setups: Sequence[Sequence[int]], nozzles: Sequence[Sequence[int]], shared: int) -> Box:
        """The box that holds these, with everything it comes to."""
        takes: Counter[str] = Counter()
        frees: Counter[str] = Counter()
        drills: set[float] = set()
        work = labour = 0
        covered = (1 << self.count) - 1
        for circuit, s, n in zip(self.circuits, setups, nozzles, strict=True):
            subset = circuit.subset(tuple(sorted(s)))
            takes.update(subset.codes)
            frees.update(subset.frees)
            options = [circuit.needs.nozzles[place] for place in n]
            takes.update({o.code for o in options if o.work == "fit" and o.code} - set(subset.codes))
            drills |= {circuit.diameters[place] for place in n if circuit.needs.nozzles[place].work == "redrill"}
            work += sum(o.price for o in options if o.work == "redrill")
            labour += sum(o.labour_min for o in options) + sum(circuit.needs.setups[i].labour_min for i in s)
            new = sum(o.changed for o in options)
            self._open(takes, "nozzle_seat", seats_opened(new, subset))
            self._open(takes, "pump_cover", int(subset.opens_pump))
            covered &= int(np.bitwise_or.reduce(subset.masks[list(n)], initial=0))
        self._take_shared(takes, shared)
        spacer, relief = self.needs.shared[shared]
        work, labour = work + relief.price, labour + spacer.labour_min + relief.labour_min
        return Box(
            tuple(tuple(sorted(s)) for s in setups), tuple(tuple(sorted(n)) for n in nozzles), shared,
            +takes, frees, tuple(sorted(drills)), work, labour, covered.bit_count(),
        )  # fmt: skip

    @cached_property
    def greatest_takes(self) -> dict[str, int]:
        """The most that one box could take of each code."""
        most: Counter[str] = Counter()
        for circuit in self.needs.circuits:
            most.update({code for setup in circuit.setups for code in setup.codes})
            most.update({o.code for o in circuit.nozzles if o.work == "fit" and o.code})
            opens_seat = any("nozzle_seat" in setup.joints for setup in circuit.setups)
            new = sum(o.changed for o in circuit.nozzles)
            self._open(most, "nozzle_seat", max(changes_expected(new), int(opens_seat)))
            self._open(most, "pump_cover", int(any("pump_cover" in setup.joints for setup in circuit.setups)))
        most.update({spacer.code for spacer, _ in self.needs.shared if spacer.work == "fit" and spacer.code})
        self._open(most, "carburettor_flange", 1)
        self._open(most, "intake_manifold", 1)
        return dict(most)

    @cached_property
    def drills(self) -> list[float]:
        """Orifices that any of its boxes may drill [mm]."""
        return sorted({
            circuit.diameters[place] for circuit in self.circuits
            for place, option in enumerate(circuit.needs.nozzles) if option.work == "redrill"
        })  # fmt: skip

    def _open(self, takes: Counter[str], joint: str, times: int) -> None:
        if times:
            takes.update({code: quantity * times for code, quantity in self._gaskets.get(joint, [])})

    def _take_shared(self, takes: Counter[str], place: int) -> None:
        spacer, relief = self.needs.shared[place]
        if spacer.work == "fit" and spacer.code:
            takes[spacer.code] += 1
        self._open(takes, "carburettor_flange", int(spacer.changed or relief.changed))
        self._open(takes, "intake_manifold", int(relief.changed))

    def _joint_price(self, prices: Prices, joint: str) -> float:
        return sum(quantity * prices.code.get(code, 0.0) for code, quantity in self._gaskets.get(joint, []))

    @cached_property
    def empty(self) -> Box:
        """A box with nothing in it: the vehicle stays as it is, and no scenario counts as covered."""
        none: tuple[tuple[int, ...], ...] = ((),) * len(self.circuits)
        return Box(none, none, 0, {}, {}, (), 0, 0, 0)

    def best(self, prices: Prices, enough: int, short_price: float, below: float = np.inf) -> tuple[float, Box] | None:
        """The box for which price and shortfall come to least, each scenario short of enough at a price."""
        found = None
        searches, shared = self._searches(prices), self._shared_prices(prices)
        for covered in range(enough, 0, -1):
            short = short_price * (enough - covered)
            one = self._cheapest(searches, shared, covered, below - short)
            if one is not None:
                below = one[0] + short
                found = below, one[1]
        short = short_price * enough
        return (short, self.empty) if short < below else found

    def cheapest(self, prices: Prices, enough: int, below: float = np.inf) -> tuple[float, Box] | None:
        """The cheapest box that covers enough scenarios, and its price; None where none is below a price."""
        return self._cheapest(self._searches(prices), self._shared_prices(prices), enough, below)

    def _searches(self, prices: Prices) -> list[Search]:
        seat, cover = self._joint_price(prices, "nozzle_seat"), self._joint_price(prices, "pump_cover")
        return [Search(circuit, prices, seat, cover) for circuit in self.circuits]

    def _cheapest(
        self, searches: Sequence[Search], shared: Array, enough: int, below: float
    ) -> tuple[float, Box] | None:
        if len(searches) > 1:
            return self._cheapest_of_two(searches, shared, enough, below)
        found = searches[0].cheapest(shared, enough, below)
        if found is None:
            return None
        price, label, places = found
        setups, nozzles = searches[0].parts(label)
        return price, self.box([setups], [nozzles], int(places[label.subset[0]]))

    def _shared_prices(self, prices: Prices) -> Array:
        """Price of each shared pair, (shared,)."""
        codes, takes, work = self._shared_takes
        parts = takes @ np.array([prices.code.get(code, 0.0) for code in codes])
        return np.asarray(parts + prices.work * work)

    @cached_property
    def _shared_takes(self) -> tuple[list[str], Array, Array]:
        """What each shared pair takes: codes, how many of each, (shared, codes), and price of work, (shared,)."""
        rows: list[Counter[str]] = [Counter() for _ in self.needs.shared]
        for place, row in enumerate(rows):
            self._take_shared(row, place)
        codes = sorted({code for row in rows for code in row})
        takes = np.array([[row[code] for code in codes] for row in rows], dtype=float)
        return codes, takes, np.array([relief.price for _, relief in self.needs.shared], dtype=float)

    def _cheapest_of_two(
        self, searches: Sequence[Search], shared: Array, enough: int, below: float
    ) -> tuple[float, Box] | None:
        """The cheapest pair of what the circuits hold that covers enough scenarios in both."""
        best: tuple[float, Box] | None = None
        least = []
        for search, other in zip(searches, reversed(searches), strict=True):
            # Each circuit has to cover enough by itself; what the other sets free may pay for some of it.
            paid = min(0.0, float(other.subset_price.min(initial=0.0)))
            alone = search.cheapest(np.zeros(len(shared)), enough, below - paid)
            if alone is None:
                return None
            least.append(alone[0])
        for place in np.argsort(shared, kind="stable"):
            room = below - shared[place]
            if room <= sum(least):
                break
            front, rear = (
                search.every(int(place), enough, room - sum(least) + own)
                for search, own in zip(searches, least, strict=True)
            )
            pair = cheapest_pair(front, rear, enough, room)
            if pair is not None:
                total, i, j = pair
                below = total + float(shared[place])
                (s_front, n_front), (s_rear, n_rear) = searches[0].parts(front, i), searches[1].parts(rear, j)
                best = below, self.box([s_front, s_rear], [n_front, n_rear], int(place))
        return best
