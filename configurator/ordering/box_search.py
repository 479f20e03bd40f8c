"""What one circuit's part of a box costs at given prices: sets of setups, and the nozzles tried with them.

Exact. Setups are few, so every set of them is looked at, all at once; nozzles are added one by one, and of those sets
that cover the same scenarios with as many nozzles only the cheapest goes on. What comes to no less than the best box
known is dropped, counted with the cheapest nozzles that it still lacks.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from configurator.arrays import Array, Indices
from configurator.ordering.needs import CircuitNeeds, diameter_mm

Masks = NDArray[np.int64]
"""Scenarios covered, one bit each."""
NONE_DO = 10**6


@dataclass(frozen=True)
class Prices:
    """What one more of each code costs, and what one set free brings, by code; a drill's price is for its use once."""

    code: Mapping[str, float]
    freed: Mapping[str, float]
    drill: Mapping[float, float]
    """Use of an orifice that takes a drill, by its diameter [mm]."""
    work: float = 1.0
    """What a hundredth spent on work costs: 1 where money is what counts."""


def changes_expected(new: int) -> int:
    """Changes of nozzle to expect with so many new ones in the box, tried in turn: half of them and one more."""
    return (new + 2) // 2 if new else 0


def seats_opened(new: int, subset: "Subset") -> int:
    """How often the nozzle's seat is opened: for nozzles, or once for a feed screw alone."""
    return max(changes_expected(new), int(subset.opens_seat))


@dataclass(frozen=True)
class Subset:
    """Setups of a circuit together: codes they take and set free, and what each nozzle covers with them."""

    setups: tuple[int, ...]
    codes: tuple[str, ...]
    frees: tuple[str, ...]
    opens_pump: bool
    opens_seat: bool
    goes_with: NDArray[np.bool_]
    masks: Masks


class CircuitBoxes:
    """What does not depend on prices."""

    def __init__(self, needs: CircuitNeeds) -> None:
        self.needs = needs
        weights = np.int64(1) << np.arange(needs.covers.shape[-1], dtype=np.int64)
        self._masks = (needs.covers * weights).sum(axis=-1).astype(np.int64)
        self.diameters = [round(diameter_mm(option), 3) for option in needs.nozzles]
        self.new = np.array([place for place, o in enumerate(needs.nozzles) if o.changed], dtype=np.intp)
        self.fitted = next((place for place, o in enumerate(needs.nozzles) if not o.changed), None)
        self._known: dict[tuple[int, ...], Subset] = {}
        self._fewest: dict[int, Indices] = {}

    def subset(self, setups: tuple[int, ...]) -> Subset:
        if setups not in self._known:
            chosen = [self.needs.setups[place] for place in setups]
            freed = {code for one in chosen for code in one.frees}
            self._known[setups] = Subset(
                setups, tuple(sorted({code for one in chosen for code in one.codes})),
                tuple(sorted(code for code in freed if all(code in one.frees for one in chosen))),
                any("pump_cover" in one.joints for one in chosen),
                any("nozzle_seat" in one.joints for one in chosen),
                np.all([one.goes_with for one in chosen], axis=0),
                np.bitwise_or.reduce(self._masks[list(setups)], axis=0),
            )  # fmt: skip
        return self._known[setups]

    @cached_property
    def subsets(self) -> list[Subset]:
        """Every set of setups that can be had together and covers anything."""
        places = range(len(self.needs.setups))
        every = (self.subset(chosen) for size in range(1, len(places) + 1) for chosen in combinations(places, size))
        return [subset for subset in every if subset.goes_with.any() and subset.masks.any()]

    @cached_property
    def masks(self) -> Masks:
        """What each new nozzle covers with each subset, the fitted one in place, (subsets, new nozzles)."""
        found = np.array([subset.masks[self.new] for subset in self.subsets], dtype=np.int64)
        return found.reshape(len(self.subsets), len(self.new)) | self.start[:, None]

    @cached_property
    def start(self) -> Masks:
        """What the fitted nozzle covers with each subset, (subsets,)."""
        if self.fitted is None:
            return np.zeros(len(self.subsets), dtype=np.int64)
        return np.array([subset.masks[self.fitted] for subset in self.subsets], dtype=np.int64)

    @cached_property
    def goes_with(self) -> NDArray[np.bool_]:
        """Shared pairs that each subset goes with, (subsets, shared)."""
        return np.array([subset.goes_with for subset in self.subsets])

    @cached_property
    def codes(self) -> list[str]:
        """Codes that setups take or set free."""
        return sorted({code for subset in self.subsets for code in (*subset.codes, *subset.frees)})

    @cached_property
    def takes(self) -> Array:
        """Whether each subset takes each code, (subsets, codes)."""
        return np.array([[code in subset.codes for code in self.codes] for subset in self.subsets], dtype=float)

    @cached_property
    def frees(self) -> Array:
        """Whether each subset sets each code free, (subsets, codes)."""
        return np.array([[code in subset.frees for code in self.codes] for subset in self.subsets], dtype=float)

    @cached_property
    def opens_pump(self) -> Array:
        return np.array([subset.opens_pump for subset in self.subsets], dtype=float)

    @cached_property
    def within(self) -> NDArray[np.bool_]:
        """Whether all that a new nozzle covers another covers too, with each subset, (subsets, nozzles, nozzles)."""
        return np.asarray((self.masks[:, :, None] & self.masks[:, None, :]) == self.masks[:, :, None])

    def fewest(self, enough: int) -> Indices:
        """New nozzles without which no subset covers enough, up to two, (subsets,); a great number where none do."""
        if enough not in self._fewest:
            none, one = np.bitwise_count(self.start), np.bitwise_count(self.masks).max(axis=1, initial=0)
            all_of_them = np.bitwise_count(np.bitwise_or.reduce(self.masks, axis=1, initial=0) | self.start)
            few = np.where(none >= enough, 0, np.where(one >= enough, 1, 2))
            self._fewest[enough] = np.where(all_of_them < enough, NONE_DO, few)
        return self._fewest[enough]


@dataclass(frozen=True)
class Labels:
    """Sets of parts: the subset, what it covers with its nozzles, its price, and its place in the trail, (n,) each."""

    subset: Indices
    mask: Masks
    price: Array
    at: Indices

    def take(self, which: Indices | NDArray[np.bool_]) -> "Labels":
        return Labels(self.subset[which], self.mask[which], self.price[which], self.at[which])


class Search:
    """One circuit at given prices. seat, cover : gaskets of a nozzle changed and of a pump cover opened."""

    def __init__(self, circuit: CircuitBoxes, prices: Prices, seat: float, cover: float) -> None:
        self.circuit = circuit
        self.nozzle_price = np.array([
            prices.code.get(option.code or "", 0.0) if option.work == "fit"
            else prices.work * option.price + prices.drill.get(circuit.diameters[place], 0.0)
            for place in circuit.new.tolist() for option in [circuit.needs.nozzles[place]]
        ])  # fmt: skip
        code_price = np.array([prices.code.get(code, 0.0) for code in circuit.codes])
        freed_price = np.array([prices.freed.get(code, 0.0) for code in circuit.codes])
        self.subset_price = circuit.takes @ code_price - circuit.frees @ freed_price + cover * circuit.opens_pump
        self.gaskets = seat * np.array([changes_expected(new) for new in range(len(circuit.new) + 2)])
        self._seat_alone = seat * np.array([float(subset.opens_seat) for subset in circuit.subsets])
        """Gaskets of the seat where no nozzle is changed; with one, they are its own."""
        self._cheapest = np.concatenate([[0.0], np.cumsum(np.sort(self.nozzle_price))])
        self._below = np.inf
        self._nozzle: list[Indices] = []
        self._before: list[Indices] = []

    def cheapest(self, shared: Array, enough: int, below: float) -> tuple[float, "Labels", Indices] | None:
        """The cheapest that covers enough, as labels of one, with the shared pair of each subset; shared : prices."""
        if not self.circuit.subsets:
            return None
        places = np.argmin(np.where(self.circuit.goes_with, shared, np.inf), axis=1)
        best = None
        for labels in self._grown(self.subset_price + shared[places], enough, below):
            done = np.flatnonzero(np.bitwise_count(labels.mask) >= enough)
            if len(done):
                first = done[np.argmin(labels.price[done])]
                if labels.price[first] < self._below:
                    best = labels.take(np.array([first]))
                    self._below = float(labels.price[first])
        return None if best is None else (self._below, best, places)

    def every(self, shared: int, enough: int, below: float) -> "Labels":
        """All that cover enough below a price, none that a cheaper one covers too."""
        assert self.circuit.subsets
        base = np.where(self.circuit.goes_with[:, shared], self.subset_price, np.inf)
        found = [
            labels.take(np.bitwise_count(labels.mask) >= enough)
            for labels in self._grown(base, enough, below, finish=False)
        ]
        joined = Labels(*(np.concatenate([getattr(one, name) for one in found]) for name in Labels.__annotations__))
        return joined.take(_undominated(joined.mask, joined.price))

    def parts(self, labels: "Labels", index: int = 0) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Setups and nozzles of a label."""
        nozzle, before = np.concatenate(self._nozzle), np.concatenate(self._before)
        found = [] if self.circuit.fitted is None else [self.circuit.fitted]
        at = int(labels.at[index])
        while before[at] >= 0:
            found.append(int(self.circuit.new[nozzle[at]]))
            at = int(before[at])
        return self.circuit.subsets[int(labels.subset[index])].setups, tuple(sorted(found))

    def _grown(self, base: Array, enough: int, below: float, *, finish: bool = True) -> Iterator["Labels"]:
        """Labels below a price, with one nozzle more each time; base : price of each subset. What covers enough grows
        on only if it is not to finish there."""
        self._below = below
        fewest = self.circuit.fewest(enough)
        subset = np.flatnonzero(base + self._more(fewest, 0) < below)
        price = base[subset] + self._seat_alone[subset]
        labels = Labels(subset, self.circuit.start[subset], price, np.arange(len(subset)))
        self._nozzle, self._before = [np.full(len(subset), -1)], [np.full(len(subset), -1)]
        useful = self._useful(subset)
        row = np.zeros(len(base), dtype=np.intp)
        row[subset] = np.arange(len(subset))
        made = 0
        yield labels
        known = len(subset)
        while len(labels.at):
            if finish:
                labels = labels.take(np.bitwise_count(labels.mask) < enough)
            made += 1
            bare = labels.price - (self.gaskets[made - 1] if made > 1 else self._seat_alone[labels.subset])
            label, nozzle = np.nonzero(useful[row[labels.subset]])
            mask = labels.mask[label] | self.circuit.masks[labels.subset[label], nozzle]
            price = bare[label] + self.nozzle_price[nozzle]
            more = self._more(np.maximum(fewest - made, 0), made)[labels.subset[label]]
            grown = np.flatnonzero((mask != labels.mask[label]) & (price + more < self._below))
            order = np.lexsort([price[grown], mask[grown], labels.subset[label[grown]]])
            which = grown[order]
            key = (labels.subset[label[which]] << 40) | mask[which]
            which = which[np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))] if len(which) else which
            self._nozzle.append(nozzle[which])
            self._before.append(labels.at[label[which]])
            labels = Labels(
                labels.subset[label[which]], mask[which], price[which] + self.gaskets[made],
                known + np.arange(len(which)),
            )  # fmt: skip
            known += len(which)
            if len(which):
                yield labels

    def _useful(self, subset: Indices) -> NDArray[np.bool_]:
        """Whether a new nozzle is worth looking at with each subset: no other covers as much for no more."""
        price = self.nozzle_price
        beats = (price[None, :] < price[:, None]) | (price[None, :] == price[:, None]) & self._first
        return np.asarray(~(self.circuit.within[subset] & beats).any(axis=2))

    @cached_property
    def _first(self) -> NDArray[np.bool_]:
        """Of equals the first is kept: whether the second nozzle of a pair comes before the first one."""
        return np.tril(np.ones((len(self.nozzle_price),) * 2, dtype=bool), -1)

    def _more(self, new: Indices, made: int) -> Array:
        """The least that so many more nozzles cost, gaskets for all of them included."""
        most = len(self._cheapest) - 1
        held = np.minimum(new, most)
        cost = self._cheapest[held] + self.gaskets[np.minimum(made + held, len(self.gaskets) - 1)]
        return np.where(new >= NONE_DO // 2, np.inf, cost)


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


def cheapest_pair(front: Labels, rear: Labels, enough: int, below: float) -> tuple[float, int, int] | None:
    """The cheapest pair of labels that covers enough scenarios together, below a price."""
    if not len(front.mask) or not len(rear.mask):
        return None
    total = front.price[:, None] + rear.price
    fits = np.bitwise_count(front.mask[:, None] & rear.mask) >= enough
    total = np.where(fits, total, np.inf)
    i, j = divmod(int(np.argmin(total)), len(rear.mask))
    return (float(total[i, j]), i, j) if total[i, j] < below else None
