"""The cheapest box of a vehicle at given prices: parts to have, nozzles to try, and the shared pair.

Exact, over every setup. A way is settled as if all that it has not decided on were free: what its nozzles come to then
is the least that it can cost. Of what that asks for and is not paid for yet, the parts that cannot be spared are put in
a row. Whoever has them all pays for them besides, and this very box does no more: none of those is cheaper. All others
give up one of the row, so each is among the ways that have those before it and give it up. A way is left out where the
least that it can cost is no less than the best box known: what is decided later adds to its cost and takes setups from
it, and fewer setups cover no more with any nozzle. So nothing is left out that is cheaper. A nozzle is left out beside
another that costs no more and covers as much with all that a way holds: it can be put in its place.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import and_

import numpy as np

from configurator.arrays import Array, Indices, Mask
from configurator.ordering.circuit_boxes import SEAT, CircuitBoxes, Masks, Prices, changes_expected

NEXT_TO_NOTHING = 1e-9
MASKS_AT_ONCE = 2**22
"""Masks compared at once."""


@dataclass(frozen=True)
class Labels:
    """Nozzles tried: the row of their setups, what is covered, the price, and the place in the trail, (n,) each."""

    row: Indices
    mask: Masks
    price: Array
    at: Indices

    def take(self, which: Indices | Mask) -> "Labels":
        return Labels(self.row[which], self.mask[which], self.price[which], self.at[which])


class PricedCircuit:
    """One circuit at given prices. seat, cover : gaskets of a nozzle changed and of a pump cover opened; enough :
    scenarios wanted; short_price : of each scenario short of that, infinite where none may be."""

    def __init__(
        self, boxes: CircuitBoxes, prices: Prices, seat: float, cover: float, enough: int, short_price: float
    ) -> None:
        self.boxes, self.enough, self.short_price, self.seat = boxes, enough, short_price, seat
        self.nozzle_price = np.array([
            prices.work * boxes.nozzle_labour[place]
            + (prices.code.get(option.code or "", 0.0) if option.work == "fit"
               else prices.work * option.price + prices.drill.get((boxes.place, boxes.diameters[place]), 0.0))
            for place in boxes.new.tolist() for option in [boxes.needs.nozzles[place]]
        ])  # fmt: skip
        opened = {"pump_cover": cover, "nozzle_seat": seat}
        change = {what: prices.work * labour for what, labour in boxes.labour.items()}
        self.item_price = np.array([
            {"take": prices.code, "keep": prices.freed, "open": opened, "change": change}[kind].get(name, 0.0)
            for kind, name in boxes.items
        ])  # fmt: skip
        self.seat_item = boxes.items.index(SEAT) if SEAT in boxes.items else -1
        self.paid = sum(prices.freed.get(code, 0.0) for code in boxes.freed)
        """What all fitted parts would bring if they were set free: those kept cost their price."""
        self.gaskets = seat * np.array([changes_expected(new) for new in range(len(boxes.new) + 2)])
        self._least = np.concatenate([[0.0], np.cumsum(np.sort(self.nozzle_price)), [np.inf]])
        """The least that so many new nozzles cost."""
        self._nozzle: list[Indices] = []
        self._before: list[Indices] = []

    def short(self, mask: Masks) -> Array:
        """Price of the scenarios that are short."""
        lacking = np.maximum(self.enough - np.bitwise_count(mask).astype(int), 0)
        return np.where(lacking > 0, self.short_price * np.maximum(lacking, 1), 0.0)

    def cheapest(self, sets: Indices, base: Array, opens_seat: Mask, below: float) -> tuple[Array, list[list[int]]]:
        """For each set of setups the least that nozzles come to with what is short, and those nozzles; infinite where
        that is not below so much. base : what each costs already."""
        value = np.full(len(sets), np.inf)
        where = np.full(len(sets), -1)
        for labels in self._grown(sets, base, opens_seat, np.full(len(sets), below), finish=True):
            cost = labels.price + self.short(labels.mask)
            order = np.lexsort([cost, labels.row])
            first = order[np.concatenate([[True], np.diff(labels.row[order]) > 0])] if len(order) else order
            better = first[cost[first] < np.minimum(value[labels.row[first]], below)]
            value[labels.row[better]], where[labels.row[better]] = cost[better], labels.at[better]
            self._below[labels.row[better]] = cost[better]
        trail = np.concatenate(self._nozzle), np.concatenate(self._before)
        return value, [_trail(*trail, int(at)) if at >= 0 else [] for at in where.tolist()]

    def every(self, number: int, base: float, opens_seat: bool, below: float) -> tuple[Masks, Array, list[list[int]]]:
        """All that nozzles cover with a set of setups and come to, below so much; none that a cheaper covers too."""
        found = list(self._grown(
            np.array([number]), np.array([base]), np.array([opens_seat]), np.array([below]), finish=False
        ))  # fmt: skip
        mask, price, at = (np.concatenate([getattr(one, name) for one in found]) for name in ("mask", "price", "at"))
        kept = np.flatnonzero(price + self.short(mask) < below)
        kept = kept[_undominated(mask[kept], price[kept])]
        trail = np.concatenate(self._nozzle), np.concatenate(self._before)
        return mask[kept], price[kept], [_trail(*trail, place) for place in at[kept].tolist()]

    def _grown(self, sets: Indices, base: Array, opens_seat: Mask, below: Array, *, finish: bool) -> Iterator[Labels]:
        """Labels below a price of each row, with one nozzle more each time. What covers enough grows on only if it is
        not to finish there."""
        self._below = below
        start, masks = self.boxes.start[sets], self.boxes.masks[sets]
        count = len(sets)
        alone = self.seat * opens_seat
        labels = Labels(np.arange(count), start, base + alone, np.arange(count))
        self._nozzle, self._before = [np.full(count, -1)], [np.full(count, -1)]
        useful = self._useful(masks)
        gain = np.bitwise_count(masks).astype(int) - np.bitwise_count(start).astype(int)[:, None]
        per = np.where(gain > 0, self.nozzle_price / np.maximum(gain, 1), np.inf).min(axis=1, initial=np.inf)
        rate, most = np.minimum(per, self.short_price), np.maximum(gain.max(axis=1, initial=0), 1)
        made, known = 0, count
        yield labels
        while len(labels.at):
            if finish:
                labels = labels.take(np.bitwise_count(labels.mask) < self.enough)
            made += 1
            bare = labels.price - (self.gaskets[made - 1] if made > 1 else alone[labels.row])
            label, nozzle = np.nonzero(useful[labels.row])
            mask = labels.mask[label] | masks[labels.row[label], nozzle]
            price = bare[label] + self.nozzle_price[nozzle] + self.gaskets[made]
            need = np.maximum(self.enough - np.bitwise_count(mask).astype(int), 0)
            more = self._more(need, made, rate[labels.row[label]], most[labels.row[label]])
            grown = np.flatnonzero((mask != labels.mask[label]) & (price + more < self._below[labels.row[label]]))
            order = np.lexsort([price[grown], mask[grown], labels.row[label[grown]]])
            which = grown[order]
            if len(which):
                row, own = labels.row[label[which]], mask[which]
                which = which[np.concatenate([[True], (row[1:] != row[:-1]) | (own[1:] != own[:-1])])]
            self._nozzle.append(nozzle[which])
            self._before.append(labels.at[label[which]])
            labels = Labels(labels.row[label[which]], mask[which], price[which], known + np.arange(len(which)))
            known += len(which)
            if len(which):
                yield labels

    def _more(self, need: Indices, made: int, rate: Array, most: Indices) -> Array:
        """The least that so many scenarios more cost, besides so many nozzles. rate : what one more costs at least;
        most : scenarios that one nozzle brings."""
        dear = np.where(need > 0, rate * np.maximum(need, 1), 0.0)
        if np.isfinite(self.short_price):
            return dear
        few = np.minimum(-(-need // most), len(self.gaskets) - 1 - made)
        return np.asarray(np.maximum(dear, self._least[few]) + self.gaskets[made + few] - self.gaskets[made])

    def _useful(self, masks: Masks) -> Mask:
        """Whether a new nozzle is worth looking at in each row: no other covers as much for no more."""
        price = self.nozzle_price
        first = np.tril(np.ones((len(price),) * 2, dtype=bool), -1)  # of equals the first is kept
        beats = (price[None, :] < price[:, None]) | (price[None, :] == price[:, None]) & first
        useful = np.zeros(masks.shape, dtype=bool)
        step = max(1, MASKS_AT_ONCE // max(1, beats.size))
        for at in range(0, len(masks), step):
            own = masks[at : at + step]
            within = (own[:, :, None] & own[:, None, :]) == own[:, :, None]
            useful[at : at + step] = ~(within & beats).any(axis=2)
        return useful


def _trail(nozzle: Indices, before: Indices, at: int) -> list[int]:
    """New nozzles of a label."""
    found = []
    while before[at] >= 0:
        found.append(int(nozzle[at]))
        at = int(before[at])
    return sorted(found)


@dataclass(frozen=True)
class _Way:
    """What is decided: the shared pair, by circuit the number of the set of setups that are left, items that are paid
    for, and the price of all that; least : what it comes to at least."""

    shared: int
    sets: tuple[int, ...]
    had: tuple[frozenset[int], ...]
    price: float
    least: float


@dataclass(frozen=True)
class FoundBox:
    """A box: the shared pair, by circuit the assemblies that it has and the new nozzles, and its price with what is
    short."""

    value: float
    shared: int
    held: tuple[Mask, ...]
    nozzles: tuple[list[int], ...]


class Search:
    """A vehicle's circuits at given prices; shared : price of each shared pair."""

    def __init__(self, circuits: Sequence[PricedCircuit], shared: Array) -> None:
        self.circuits, self.shared = circuits, shared
        self.free = [frozenset(np.flatnonzero(one.item_price <= NEXT_TO_NOTHING).tolist()) for one in circuits]
        """Items that cost nothing, of each circuit."""

    def cheapest(self, below: float) -> FoundBox | None:
        """The cheapest box below a price."""
        ways, best = self._roots(), None
        while ways:
            found = self._settled([way for way in ways if way.least < below], below)
            ways = []
            for way, box in found:
                if box.value >= below:
                    continue
                row, whole = self._row(way, box)
                if whole.value < below:
                    best, below = whole, whole.value
                ways += self._others(way, row, box.value)
        return best

    def _roots(self) -> list[_Way]:
        """Nothing decided but the shared pair: of pairs of which none goes with as much for no more."""
        goes_with = np.concatenate([one.boxes.goes_with for one in self.circuits])
        kept: list[int] = []
        for place in np.argsort(self.shared, kind="stable").tolist():
            if not any((goes_with[:, place] <= goes_with[:, other]).all() for other in kept):
                kept.append(place)
        ways = []
        for place in kept:
            sets = tuple(int(one.boxes.numbers(one.boxes.goes_with[None, :, place])[0]) for one in self.circuits)
            price = float(self.shared[place]) - sum(one.paid for one in self.circuits)
            if all(self._can(one, number) for one, number in zip(self.circuits, sets, strict=True)):
                ways.append(_Way(place, sets, tuple(self.free), price, price))
        return ways

    def _can(self, circuit: PricedCircuit, number: int) -> bool:
        """Whether a set of setups can cover what has to be covered, or something where that may be short."""
        least = circuit.enough if np.isinf(circuit.short_price) else 1
        return int(circuit.boxes.reach[number]).bit_count() >= least

    def _settled(self, ways: list[_Way], below: float) -> list[tuple[_Way, FoundBox]]:
        """Ways with the best that nozzles do if all that is not decided is free."""
        if not ways:
            return []
        base = np.array([way.price for way in ways])
        each = []
        for place, one in enumerate(self.circuits):
            sets = np.array([way.sets[place] for way in ways], dtype=np.intp)
            seat = np.array([one.seat_item in way.had[place] for way in ways], dtype=bool)
            each.append(one.cheapest(sets, base, seat, below))
        if len(self.circuits) == 1:
            [(values, nozzles)] = each
            return [(way, FoundBox(value, way.shared, self._held(way), (own,)))
                    for way, value, own in zip(ways, values.tolist(), nozzles, strict=True)]  # fmt: skip
        return [(way, found) for place, way in enumerate(ways)
                if (found := self._pair(way, [float(values[place]) for values, _ in each], below))]  # fmt: skip

    def _pair(self, way: _Way, alone: list[float], below: float) -> FoundBox | None:
        """The cheapest nozzles of two circuits, by what both cover. alone : what each comes to without the other."""
        if not all(value < below for value in alone):
            return None
        front = self.circuits[0]
        # What is short counts once for both; where nothing may be, each has to cover enough by itself.
        other = alone[::-1] if np.isinf(front.short_price) else [way.price, way.price]
        (mask, price, nozzles), (mask_rear, price_rear, nozzles_rear) = (
            one.every(way.sets[place], other[place], one.seat_item in way.had[place], below)
            for place, one in enumerate(self.circuits)
        )
        if not len(mask) or not len(mask_rear):
            return None
        price, price_rear = price - other[0], price_rear - other[1]
        total = price[:, None] + price_rear + front.short(mask[:, None] & mask_rear)
        i, j = divmod(int(np.argmin(total)), len(mask_rear))
        return FoundBox(way.price + float(total[i, j]), way.shared, self._held(way), (nozzles[i], nozzles_rear[j]))

    def _row(self, way: _Way, box: FoundBox) -> tuple[list[tuple[int, int]], FoundBox]:
        """What cannot be spared of what is not paid for, as circuit and item, and the box with all of it."""
        held, by_assembly = list(box.held), [
            one.boxes.by_assembly(new) for one, new in zip(self.circuits, box.nozzles, strict=True)
        ]  # fmt: skip
        covered = [int(np.bitwise_or.reduce(own[has], initial=0)) for own, has in zip(by_assembly, held, strict=True)]
        want = reduce(and_, covered)
        enough = min(self.circuits[0].enough, want.bit_count())
        open_items = [
            (place, item)
            for place, one in enumerate(self.circuits)
            for item in np.flatnonzero(one.boxes.used[way.sets[place]]).tolist()
            if item not in way.had[place] - self.free[place] and not (item == one.seat_item and box.nozzles[place])
        ]
        row = []
        for place, item in sorted(open_items, key=lambda own: -self.circuits[own[0]].item_price[own[1]]):
            without = held[place] & ~self.circuits[place].boxes.asks[:, item]
            left = [*covered]
            left[place] = int(np.bitwise_or.reduce(by_assembly[place][without], initial=0))
            both, is_free = reduce(and_, left), item in self.free[place]
            if without.any() and (both == want if is_free else both.bit_count() >= enough):
                held[place], covered = without, left
            elif not is_free:
                row.append((place, item))
        more = sum(float(self.circuits[place].item_price[item]) for place, item in row)
        return row, FoundBox(box.value + more, way.shared, tuple(held), box.nozzles)

    def _held(self, way: _Way) -> tuple[Mask, ...]:
        return tuple(one.boxes.held[number] for one, number in zip(self.circuits, way.sets, strict=True))

    def _others(self, way: _Way, row: list[tuple[int, int]], least: float) -> Iterator[_Way]:
        """The ways that give up one of a row, and have those before it."""
        price, had = way.price, list(way.had)
        # Whether a seat is opened for a screw alone is settled with the nozzles: it is decided on first.
        row = sorted(row, key=lambda own: own[1] != self.circuits[own[0]].seat_item)
        for place, item in row:
            one = self.circuits[place]
            without = int(one.boxes.without(np.array([way.sets[place]]), item)[0])
            if self._can(one, without):
                sets = tuple(without if at == place else number for at, number in enumerate(way.sets))
                yield _Way(way.shared, sets, tuple(had), price, least + price - way.price)
            had[place] = had[place] | {item}
            if item == one.seat_item:
                yield _Way(way.shared, way.sets, tuple(had), price, least)
                return
            price += float(one.item_price[item])


def _undominated(mask: Masks, price: Array) -> Indices:
    """Those of which no other covers as much for no more, cheapest first; of equals the first."""
    order = np.lexsort([-np.bitwise_count(mask).astype(np.int64), price])
    order = order[np.sort(np.unique(mask[order], return_index=True)[1])]
    sorted_mask = mask[order]
    dominated = np.zeros(len(order), dtype=bool)
    for first in range(0, len(order), 512):
        rows = sorted_mask[first : first + 512, None]
        within = (rows & sorted_mask[: first + 512]) == rows
        dominated[first : first + 512] = np.tril(within, first - 1).any(axis=1)
    return order[~dominated]
