"""What sits in a slot, or may: one option as everybody knows it, and all that a slot offers, by kind and as arrays.

A large catalogue names the same part many times, from other suppliers at other prices. Options that are alike in all
figures but those are of one kind: what they deliver and what they break is worked out once a kind.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeVar, overload

import numpy as np

from configurator.arrays import Indices, Integers
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, Part, PumpFigures
from configurator.slots.columns import Mount
from configurator.slots.slot import Slot

Work = Literal["none", "fit", "remove", "redrill", "rephase", "relieve"]


@dataclass(frozen=True)
class Stack:
    """A spacer against the one fitted now: how much higher it lifts the carburettor, and what that takes above [mm]."""

    thickness_mm: float
    bonnet_mm: float


OptionFigures = FittedNozzle | FeedScrewFigures | PumpFigures | Mount | Stack | float
"""A pad relief is the depth taken off [mm]."""
FiguresOfKind = TypeVar("FiguresOfKind", FittedNozzle, FeedScrewFigures, PumpFigures, Mount, Stack, float)


@dataclass(frozen=True)
class Option:
    """One thing that may sit in a slot. Price in hundredths of the currency; a fitted part costs nothing and changes
    nothing. code is None where there is none; comes_with are the codes in the same box; permanent work cannot be
    undone."""

    label: str
    figures: OptionFigures
    work: Work
    code: str | None = None
    price: int = 0
    labour_min: int = 0
    comes_with: tuple[str, ...] = ()
    permanent: bool = False

    @property
    def changed(self) -> bool:
        return self.work != "none"

    def read(self, kind: type[FiguresOfKind]) -> FiguresOfKind:
        """The figures of an option of a slot whose kind of part is known."""
        assert isinstance(self.figures, kind)
        return self.figures

    @property
    def sort_key(self) -> tuple[bool, str, str]:
        """Order among equals: what is fitted first, then by code."""
        return (self.changed, self.code or "", self.label)


def pence(price: float) -> int:
    return round(price * 100)


class Stock:
    """One family of a catalogue as options. An option is made when it is asked for, and kept; what many are compared by
    stands in arrays over all of them.

    parts : the part of each option. kinds : what each is alike in, equal for options of one kind. make : makes one.
    boxes : codes that come with each, nothing where there are none.
    """

    def __init__(
        self,
        parts: Sequence[Part],
        kinds: Iterable[Hashable],
        make: Callable[[int], Option],
        boxes: Iterable[tuple[str, ...]] = (),
    ) -> None:
        self.parts, self._make = parts, make
        number: dict[Hashable, int] = {}
        self.kind: Indices = np.array([number.setdefault(kind, len(number)) for kind in kinds], dtype=np.intp)
        self.price: Integers = np.rint(np.array([part.price for part in parts], dtype=float) * 100).astype(np.int64)
        self.labour_min: Integers = np.array([part.labour_min for part in parts], dtype=np.int64)
        held: dict[tuple[str, ...], int] = {(): 0}
        self.box: Indices = np.zeros(len(parts), dtype=np.intp)
        """Number of what comes in the same box: 0 for nothing."""
        for place, codes in enumerate(boxes):
            self.box[place] = held.setdefault(codes, len(held))
        self.boxes = tuple(held)
        self._made: dict[int, Option] = {}

    def __len__(self) -> int:
        return len(self.parts)

    def made_by(self, make: Callable[[int], Option]) -> "Stock":
        """The same parts, made into options of another kind."""
        other = copy(self)
        other._make, other._made = make, {}
        return other

    def option(self, place: int) -> Option:
        """One option, always the same object."""
        made = self._made.get(place)
        return self._made.setdefault(place, self._make(place)) if made is None else made

    @cached_property
    def of_code(self) -> Mapping[str, Sequence[int]]:
        """Places of each code."""
        found: dict[str, list[int]] = {}
        for place, part in enumerate(self.parts):
            found.setdefault(part.code, []).append(place)
        return found

    @cached_property
    def by_price(self) -> Indices:
        """All places: kind by kind, the cheapest of each first, then the quickest to fit, then the first by code."""
        return np.lexsort((self._code_rank, self.labour_min, self.price, self.kind))

    @cached_property
    def by_labour(self) -> Indices:
        """All places: kind by kind, the quickest to fit of each first, then the cheapest, then the first by code."""
        return np.lexsort((self._code_rank, self.price, self.labour_min, self.kind))

    @cached_property
    def _code_rank(self) -> Indices:
        # Options of one code are never of one kind, so nothing else has to tell them apart.
        codes = [part.code for part in self.parts]
        rank = np.empty(len(codes), dtype=np.intp)
        rank[sorted(range(len(codes)), key=codes.__getitem__)] = np.arange(len(codes))
        return rank


class Offered(Sequence[Option]):
    """Everything that may sit in a slot: what is fitted first, then what stock has, then what else work makes of it.

    taken : places in the stock. Options beside those of the stock are each a kind of their own.
    """

    def __init__(self, first: Sequence[Option], stock: Stock, taken: Indices, last: Sequence[Option] = ()) -> None:
        self._first, self._stock, self._taken, self._last = tuple(first), stock, taken, tuple(last)

    @classmethod
    def of(cls, options: Sequence[Option]) -> "Offered":
        """A list of options, each of a kind of its own."""
        return options if isinstance(options, Offered) else cls(options, _NOTHING, np.arange(0))

    def __len__(self) -> int:
        return len(self._first) + len(self._taken) + len(self._last)

    @overload
    def __getitem__(self, place: int) -> Option: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[Option, ...]: ...
    def __getitem__(self, place: int | slice) -> Option | tuple[Option, ...]:
        if isinstance(place, slice):
            return tuple(self._at(one) for one in range(*place.indices(len(self))))
        if not -len(self) <= place < len(self):
            raise IndexError(place)
        return self._at(place % len(self))

    def __iter__(self) -> Iterator[Option]:
        yield from self._first
        yield from map(self._stock.option, self._taken.tolist())
        yield from self._last

    def _at(self, place: int) -> Option:
        if place < len(self._first):
            return self._first[place]
        behind = place - len(self._first)
        if behind < len(self._taken):
            return self._stock.option(int(self._taken[behind]))
        return self._last[behind - len(self._taken)]

    @property
    def own(self) -> list[int]:
        """Places of the options that are not of the stock."""
        return [*range(len(self._first)), *range(len(self) - len(self._last), len(self))]

    @cached_property
    def kind(self) -> Indices:
        """Number of each option's kind, in the order in which the kinds are found, (options,)."""
        of_stock = np.asarray(self._stock.kind[self._taken])
        there = np.zeros(int(self._stock.kind.max(initial=-1)) + 1, dtype=bool)
        there[of_stock] = True
        number = np.cumsum(there) - 1 + len(self._first)
        after = len(self._first) + int(there.sum())
        return self._with_own(range(len(self._first)), number[of_stock], range(after, after + len(self._last)))

    @cached_property
    def kinds(self) -> tuple[Option, ...]:
        """One option a kind: the cheapest, of equals the quickest to fit, then the first by code."""
        return tuple(self._at(place) for place in self.least(self.kind, self.by_price).tolist())

    @cached_property
    def first_of_kinds(self) -> tuple[Option, ...]:
        """One option a kind, the first of the list; none of a kind that a part left out of the list, as it is fitted,
        is of."""
        left_out = np.zeros(int(self._stock.kind.max(initial=-1)) + 1, dtype=bool)
        left_out[np.delete(self._stock.kind, self._taken)] = True
        as_fitted = self._with_own(
            [False] * len(self._first), left_out[self._stock.kind[self._taken]], [False] * len(self._last)
        )
        firsts = self.least(self.kind, np.arange(len(self)))
        return tuple(self._at(place) for place in firsts[as_fitted[firsts] == 0].tolist())

    def kind_of(self, option: Option) -> int | None:
        """Number of an option's kind; None for one that is not of this list."""
        for place in self.own:
            if self._at(place) is option:
                return int(self.kind[place])
        same_code = self._stock.of_code.get(option.code or "", ())
        found = next((place for place in same_code if self._stock.option(place) is option), None)
        return None if found is None else self._kind_in_stock.get(int(self._stock.kind[found]))

    @cached_property
    def _kind_in_stock(self) -> dict[int, int]:
        count = len(self._taken)
        own = self.kind[len(self._first) : len(self._first) + count]
        return dict(zip(self._stock.kind[self._taken].tolist(), own.tolist(), strict=True))

    @cached_property
    def price(self) -> Integers:
        """Price of each option, (options,)."""
        prices = ([option.price for option in some] for some in (self._first, self._last))
        return self._with_own(next(prices), self._stock.price[self._taken], next(prices))

    @cached_property
    def labour_min(self) -> Integers:
        """Labour for each option [min], (options,)."""
        labours = ([option.labour_min for option in some] for some in (self._first, self._last))
        return self._with_own(next(labours), self._stock.labour_min[self._taken], next(labours))

    @cached_property
    def box(self) -> Indices:
        """Number of what comes in each option's box, 0 for nothing, (options,)."""
        return self._with_own([0] * len(self._first), self._stock.box[self._taken], [0] * len(self._last))

    @property
    def boxes(self) -> tuple[tuple[str, ...], ...]:
        """Codes in each box, by its number."""
        return self._stock.boxes

    def of_code(self, code: str) -> list[int]:
        """Places of the options of a code."""
        in_stock = self._stock.of_code.get(code, ())
        behind = np.searchsorted(self._taken, in_stock)
        found = [int(b) + len(self._first) for b, place in zip(behind, in_stock, strict=True)
                 if b < len(self._taken) and self._taken[b] == place]  # fmt: skip
        return sorted([*found, *(place for place in self.own if self._at(place).code == code)])

    def labelled(self, label: str) -> Option | None:
        """The first option of a label; None where there is none."""
        options = (self._at(place) for place in sorted({*self.own, *self.of_code(self.code_in(label) or "")}))
        return next((option for option in options if option.label == label), None)

    @staticmethod
    def code_in(label: str) -> str | None:
        """The code that a label begins with; None for what has none, which is told in several words."""
        code = label.partition(",")[0].partition(" at ")[0]
        return None if " " in code else code

    @property
    def quickest_fit_min(self) -> int:
        """Labour for the part of the stock that is fitted the quickest [min]; 0 where there is none."""
        labour_min = self._stock.labour_min[self._taken]
        return int(labour_min.min()) if len(labour_min) else 0

    @property
    def codes(self) -> list[str]:
        """The codes there are."""
        parts = self._stock.parts
        own = [option.code for option in (*self._first, *self._last) if option.code]
        return [*own, *(parts[place].code for place in self._taken.tolist())]

    def where(self, holds: Callable[[Option], bool]) -> list[int]:
        """Places of the options for which something holds that depends on nothing but their kind."""
        return np.flatnonzero(np.array([holds(option) for option in self.kinds], dtype=bool)[self.kind]).tolist()

    @cached_property
    def by_price(self) -> Indices:
        """All places: kind by kind, the cheapest of each first."""
        return self._sorted(self._stock.by_price)

    @cached_property
    def by_labour(self) -> Indices:
        """All places: kind by kind, the quickest to fit of each first."""
        return self._sorted(self._stock.by_labour)

    @staticmethod
    def least(group: Indices, order: Indices) -> Indices:
        """Of each group the place that comes first in an order of places; group is given for every place, (groups,)."""
        found = np.full(int(group.max(initial=-1)) + 1, -1, dtype=np.intp)
        found[group[order[::-1]]] = order[::-1]  # of several the last one written stays
        return found

    def _sorted(self, order: Indices) -> Indices:
        place = np.full(len(self._stock), -1, dtype=np.intp)
        place[self._taken] = len(self._first) + np.arange(len(self._taken))
        behind = place[order]
        return self._with_own(
            range(len(self._first)), behind[behind >= 0], range(len(self) - len(self._last), len(self))
        )

    def _with_own(self, first: Sequence[int], of_stock: Integers | Indices, last: Sequence[int]) -> Integers:
        return np.concatenate([np.array(first, dtype=np.int64), of_stock, np.array(last, dtype=np.int64)])


_NOTHING = Stock((), (), lambda place: Option("", 0.0, "none"))

Slots = Mapping[Slot, Sequence[Option]]
"""Options of every slot of a vehicle; what is fitted comes first."""
Choice = Mapping[Slot, Option]
"""One option for every slot."""


def short_label(label: str) -> str:
    """A nozzle by its code alone, where it has one.

    >>> short_label("straight-0.90, 0.90 mm (35.4 thou)"), short_label("lobe-fell at 6 deg")
    ('straight-0.90', 'lobe-fell at 6 deg')
    """
    return label.partition(",")[0] if Offered.code_in(label) else label
