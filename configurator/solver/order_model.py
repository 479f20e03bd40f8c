"""The parts order as a CP-SAT model: packs to buy against boxes that cover enough scenarios of demand by their days.

Each vehicle's box holds setups and nozzles; a scenario counts when a setup and a nozzle in the box cover it, in every
circuit. What boxes hold must have arrived, lie on the shelf, or have been set free for certain by a vehicle of an
earlier day. A nozzle that was tried is not counted on again: one of them stays in the car. Suppliers deliver once.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import Any

from ortools.sat.python import cp_model

from configurator.options import Option
from configurator.parts import Consumable
from configurator.supply import DrillBit, Supplier
from configurator.workshop.needs import CircuitNeeds, VehicleNeeds, diameter_mm
from configurator.workshop.shelves import Article, arrival

MOST_PACKS = 60
SAME_DRILL_MM = 0.001
Bool = cp_model.IntVar
Amount = Any
"""A number, or a linear expression of the model's variables."""


@dataclass(frozen=True)
class Wanted:
    """A vehicle's needs, the day it runs and the number of scenarios to be covered."""

    needs: VehicleNeeds
    day: date
    sureness: float

    @property
    def scenarios(self) -> int:
        return len(self.needs.scenarios)

    @property
    def enough(self) -> int:
        """Scenarios that make the sureness."""
        return ceil(self.sureness * self.scenarios - 1e-9)


@dataclass(frozen=True)
class Market:
    """What can be bought and what is there: articles, terms, the shelf, gaskets, drills, and the day of the order."""

    articles: Sequence[Article]
    suppliers: Mapping[str, Supplier]
    shelf: Mapping[str, int]
    consumables: Sequence[Consumable]
    drill_bits: Sequence[DrillBit]
    ordered: date

    def arrives(self, article: Article) -> date:
        return arrival(self.suppliers[article.supplier], self.ordered)

    def drills_for(self, redrilled: Option) -> list[str]:
        """Codes of the drills that make a redrilled nozzle."""
        wanted_mm = diameter_mm(redrilled)
        return [bit.code for bit in self.drill_bits if abs(bit.diameter_mm - wanted_mm) < SAME_DRILL_MM]


@dataclass(frozen=True)
class Box:
    """The Booleans of one vehicle."""

    wanted: Wanted
    shared: list[Bool]
    setups: dict[str, list[Bool]]
    nozzles: dict[str, list[Bool]]
    covered: list[Bool]


class OrderModel:
    """Variables and constraints of an order; goals are put on it by solver.order."""

    def __init__(self, wanted: Sequence[Wanted], market: Market, *, most_suppliers: int | None = None) -> None:
        self.market = market
        self.model = cp_model.CpModel()
        self.packs: list[list[cp_model.IntVar]] = [self._tiers(article) for article in market.articles]
        self.boxes = [self._box(index, one) for index, one in enumerate(wanted)]
        self.work: Amount = 0
        """Price of work on parts (drilling, relieving a pad), and labour in minutes."""
        self.labour: Amount = 0
        self._needs: dict[str, list[tuple[date, Amount]]] = {}
        self._freed: dict[str, list[tuple[date, Bool]]] = {}
        for box in self.boxes:
            self._ask(box)
        self._supply()
        self.used, self.delivery = self._terms(most_suppliers)
        self.cost = self._goods() + sum(self.delivery.values()) + self.work

    def _tiers(self, article: Article) -> list[cp_model.IntVar]:
        """Packs bought at each price; at most one price holds."""
        counts, chosen = [], []
        for place, tier in enumerate(article.tiers):
            below = article.tiers[place + 1].from_packs - 1 if place + 1 < len(article.tiers) else MOST_PACKS
            count = self.model.new_int_var(0, below, f"{article.code}@{article.supplier}:{tier.from_packs}")
            at_this_price = self.model.new_bool_var("")
            self.model.add(count >= tier.from_packs * at_this_price)
            self.model.add(count <= below * at_this_price)
            counts.append(count)
            chosen.append(at_this_price)
        if len(chosen) > 1:
            self.model.add_at_most_one(chosen)
        return counts

    def _box(self, index: int, wanted: Wanted) -> Box:
        new, needs = self.model.new_bool_var, wanted.needs
        shared = [new(f"{index}:shared{place}") for place in range(len(needs.shared))]
        self.model.add_exactly_one(shared)
        setups = {
            c.circuit: [new(f"{index}:{c.circuit}:setup{s}") for s in range(len(c.setups))] for c in needs.circuits
        }
        nozzles = {
            c.circuit: [new(f"{index}:{c.circuit}:nozzle{n}") for n in range(len(c.nozzles))] for c in needs.circuits
        }
        covered = [new(f"{index}:covered{k}") for k in range(wanted.scenarios)]
        box = Box(wanted, shared, setups, nozzles, covered)
        for circuit in needs.circuits:
            self._cover(box, circuit)
        return box

    def _cover(self, box: Box, circuit: CircuitNeeds) -> None:
        """A scenario is covered by a setup and a nozzle that are both in the box."""
        setups, nozzles = box.setups[circuit.circuit], box.nozzles[circuit.circuit]
        for setup, has in zip(circuit.setups, setups, strict=True):
            goes = [x for x, fits in zip(box.shared, setup.goes_with, strict=True) if fits]
            self.model.add_bool_or([*goes, has.negated()])
        pairs: dict[tuple[int, int], Bool] = {}
        for scenario, covered in enumerate(box.covered):
            ways = []
            for s, n in zip(*circuit.covers[:, :, scenario].nonzero(), strict=True):
                pair = (int(s), int(n))
                if pair not in pairs:
                    pairs[pair] = self.model.new_bool_var("")
                    self.model.add_implication(pairs[pair], setups[pair[0]])
                    self.model.add_implication(pairs[pair], nozzles[pair[1]])
                ways.append(pairs[pair])
            self.model.add_bool_or([*ways, covered.negated()])

    def _ask(self, box: Box) -> None:
        """What a box asks of the shelf and the deliveries, and what its changes set free."""
        day = box.wanted.day
        for circuit in box.wanted.needs.circuits:
            setups, nozzles = box.setups[circuit.circuit], box.nozzles[circuit.circuit]
            by_code: dict[str, list[Bool]] = {}
            for setup, has in zip(circuit.setups, setups, strict=True):
                for code in setup.codes:
                    by_code.setdefault(code, []).append(has)
            for option, has in zip(circuit.nozzles, nozzles, strict=True):
                if option.work == "fit" and option.code:
                    by_code.setdefault(option.code, []).append(has)
                elif option.work == "redrill":
                    self._ask_drill(option, has, day)
            for code, users in by_code.items():
                self._need(code, day, self._any(users))
            for code in dict.fromkeys(code for setup in circuit.setups for code in setup.frees):
                self._free(circuit, setups, code, day)
            self._ask_gaskets(circuit, setups, nozzles, day)
            self.work += sum(o.price * x for o, x in zip(circuit.nozzles, nozzles, strict=True) if o.work == "redrill")
            self.labour += sum(o.labour_min * x for o, x in zip(circuit.nozzles, nozzles, strict=True))
            self.labour += sum(setup.labour_min * x for setup, x in zip(circuit.setups, setups, strict=True))
        for place, (spacer, _) in enumerate(box.wanted.needs.shared):
            if spacer.work == "fit" and spacer.code:
                self._need(spacer.code, day, box.shared[place])
        opened = [
            x for x, pair in zip(box.shared, box.wanted.needs.shared, strict=True) if any(o.changed for o in pair)
        ]
        relieved = [x for x, (_, relief) in zip(box.shared, box.wanted.needs.shared, strict=True) if relief.changed]
        self._need_joint("carburettor_flange", day, sum(opened))
        self._need_joint("intake_manifold", day, sum(relieved))

    def _any(self, users: Sequence[Bool]) -> Bool:
        if len(users) == 1:
            return users[0]
        needed = self.model.new_bool_var("")
        self.model.add_max_equality(needed, users)
        return needed

    def _need(self, code: str, day: date, amount: Amount) -> None:
        self._needs.setdefault(code, []).append((day, amount))

    def _need_joint(self, joint: str, day: date, times: Amount) -> None:
        for part in self.market.consumables:
            if part.joint == joint:
                self._need(part.code, day, part.quantity * times)

    def _ask_gaskets(self, circuit: CircuitNeeds, setups: Sequence[Bool], nozzles: Sequence[Bool], day: date) -> None:
        """Gaskets for the changes to be expected: tried in turn, half the nozzles in the box and one more."""
        new_ones = [x for option, x in zip(circuit.nozzles, nozzles, strict=True) if option.changed]
        if new_ones:
            changes = self.model.new_int_var(0, len(new_ones) + 1, "")
            self.model.add(2 * changes >= sum(new_ones) + self._any(new_ones))
            self._need_joint("nozzle_seat", day, changes)
        covers = [x for setup, x in zip(circuit.setups, setups, strict=True) if "pump_cover" in setup.joints]
        if covers:
            self._need_joint("pump_cover", day, self._any(covers))

    def _free(self, circuit: CircuitNeeds, setups: Sequence[Bool], code: str, day: date) -> None:
        """A fitted part is free for certain when a setup replaces it and no setup in the box keeps it."""
        free = self.model.new_bool_var("")
        replacing = [x for setup, x in zip(circuit.setups, setups, strict=True) if code in setup.frees]
        for setup, x in zip(circuit.setups, setups, strict=True):
            if code not in setup.frees:
                self.model.add_implication(x, free.negated())
        self.model.add_bool_or([*replacing, free.negated()])
        self._freed.setdefault(code, []).append((day, free))

    def _ask_drill(self, redrilled: Option, has: Bool, day: date) -> None:
        """A drill is a tool: one that is owned or has arrived serves every vehicle."""
        bits = self.market.drills_for(redrilled)
        if not any(self.market.shelf.get(code, 0) for code in bits):
            bought = [count for code in bits for count in self._bought(code, day)]
            self.model.add(sum(bought) >= 1 if bought else 0 >= 1).only_enforce_if(has)

    def _bought(self, code: str, day: date) -> Iterator[Amount]:
        for article, counts in zip(self.market.articles, self.packs, strict=True):
            if code in article.brings and self.market.arrives(article) <= day:
                yield from (article.brings[code] * count for count in counts)

    def _supply(self) -> None:
        for code, needs in self._needs.items():
            for day in sorted({day for day, _ in needs}):
                asked = sum(amount for when, amount in needs if when <= day)
                freed = sum(free for when, free in self._freed.get(code, []) if when < day)
                self.model.add(asked <= self.market.shelf.get(code, 0) + sum(self._bought(code, day)) + freed)

    def _goods(self, supplier: str | None = None) -> Amount:
        """Price of the goods in hundredths, of one supplier or all."""
        return sum(
            tier.price * count
            for article, counts in zip(self.market.articles, self.packs, strict=True)
            if supplier in (None, article.supplier)
            for tier, count in zip(article.tiers, counts, strict=True)
        )

    def _terms(self, most_suppliers: int | None) -> tuple[dict[str, Bool], dict[str, Amount]]:
        """Delivery charges, free delivery and least orders; at most so many suppliers."""
        used, delivery = {}, {}
        for code, supplier in self.market.suppliers.items():
            used[code] = self.model.new_bool_var(f"used {code}")
            counts = [
                count for article, tiers in zip(self.market.articles, self.packs, strict=True)
                if article.supplier == code for count in tiers
            ]  # fmt: skip
            for count in counts:
                self.model.add(count == 0).only_enforce_if(used[code].negated())
            goods = self._goods(code)
            if supplier.minimum_order:
                self.model.add(goods >= round(100 * supplier.minimum_order)).only_enforce_if(used[code])
            pays = used[code]
            if supplier.free_delivery_from is not None:
                pays = self.model.new_bool_var(f"pays {code}")
                least = round(100 * supplier.free_delivery_from)
                self.model.add(goods >= least).only_enforce_if([used[code], pays.negated()])
                self.model.add_implication(pays, used[code])
            delivery[code] = round(100 * supplier.delivery_charge) * pays
        if most_suppliers is not None:
            self.model.add(sum(used.values()) <= most_suppliers)
        return used, delivery
