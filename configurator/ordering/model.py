"""The parts order as a CP-SAT model: packs to buy against boxes that cover enough scenarios of demand by their days.

Each vehicle's box holds setups and nozzles; a scenario counts when a setup and a nozzle in the box cover it, in every
circuit. What boxes hold must have arrived, lie on the shelf, or have been set free for certain by a vehicle of an
earlier day. A nozzle that was tried is not counted on again: one of them stays in the car. Suppliers deliver once.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from configurator.ordering.needs import CircuitNeeds, VehicleNeeds, diameter_mm
from configurator.ordering.purchase import Bool, Market, Purchase


@dataclass(frozen=True)
class Wanted:
    """A vehicle's needs, the day it runs and how sure it is to be. asked : scenarios to cover, where that many make the
    sureness."""

    needs: VehicleNeeds
    day: date
    sureness: float
    asked: int | None = None

    @property
    def scenarios(self) -> int:
        return len(self.needs.scenarios)

    @property
    def enough(self) -> int:
        """Scenarios to be covered."""
        return ceil(self.sureness * self.scenarios - 1e-9) if self.asked is None else self.asked


@dataclass(frozen=True)
class BoxModel:
    """The Booleans of one vehicle."""

    wanted: Wanted
    shared: list[Bool]
    setups: dict[str, list[Bool]]
    nozzles: dict[str, list[Bool]]
    covered: list[Bool]


class OrderModel:
    """Variables and constraints of an order; goals are put on it by solver.order."""

    def __init__(self, wanted: Sequence[Wanted], market: Market, *, most_suppliers: int | None = None) -> None:
        self.purchase = Purchase(market)
        self.model = self.purchase.model
        self.boxes = [self._box(index, one) for index, one in enumerate(wanted)]
        for box in self.boxes:
            self._ask(box)
        self.purchase.close(most_suppliers)

    def _box(self, index: int, wanted: Wanted) -> BoxModel:
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
        box = BoxModel(wanted, shared, setups, nozzles, covered)
        for circuit in needs.circuits:
            self._cover(box, circuit)
        return box

    def _cover(self, box: BoxModel, circuit: CircuitNeeds) -> None:
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

    def _ask(self, box: BoxModel) -> None:
        """What a box asks of the shelf and the deliveries, and what its changes set free."""
        for circuit in box.wanted.needs.circuits:
            setups, nozzles = box.setups[circuit.circuit], box.nozzles[circuit.circuit]
            self._ask_parts(circuit, setups, nozzles, box.wanted.day)
            for code in dict.fromkeys(code for setup in circuit.setups for code in setup.frees):
                self._free(circuit, setups, code, box.wanted.day)
            self._ask_gaskets(circuit, setups, nozzles, box.wanted.day)
            self._ask_work(circuit, setups, nozzles)
        self._ask_shared(box)

    def _ask_parts(self, circuit: CircuitNeeds, setups: Sequence[Bool], nozzles: Sequence[Bool], day: date) -> None:
        """Every part once, whoever in the circuit wants it, and a drill for every size that is drilled."""
        by_code: dict[str, list[Bool]] = {}
        for setup, has in zip(circuit.setups, setups, strict=True):
            for code in setup.codes:
                by_code.setdefault(code, []).append(has)
        for option, has in zip(circuit.nozzles, nozzles, strict=True):
            if option.work == "fit" and option.code:
                by_code.setdefault(option.code, []).append(has)
            elif option.work == "redrill":
                self.purchase.need_drill(diameter_mm(option), day, has)
        for code, users in by_code.items():
            self.purchase.need(code, day, self._any(users))

    def _ask_work(self, circuit: CircuitNeeds, setups: Sequence[Bool], nozzles: Sequence[Bool]) -> None:
        for option, has in zip(circuit.nozzles, nozzles, strict=True):
            self.purchase.work += option.price * has if option.work == "redrill" else 0
            self.purchase.labour += option.labour_min * has
        self.purchase.labour += sum(setup.labour_min * x for setup, x in zip(circuit.setups, setups, strict=True))

    def _ask_shared(self, box: BoxModel) -> None:
        """Spacer and pad relief, with the gaskets of the joints they open."""
        pairs = list(zip(box.shared, box.wanted.needs.shared, strict=True))
        for has, (spacer, relief) in pairs:
            if spacer.work == "fit" and spacer.code:
                self.purchase.need(spacer.code, box.wanted.day, has)
            self.purchase.work += relief.price * has
            self.purchase.labour += (spacer.labour_min + relief.labour_min) * has
        opened = sum(has for has, pair in pairs if any(option.changed for option in pair))
        relieved = sum(has for has, (_, relief) in pairs if relief.changed)
        self.purchase.need_joint("carburettor_flange", box.wanted.day, opened)
        self.purchase.need_joint("intake_manifold", box.wanted.day, relieved)

    def _any(self, users: Sequence[Bool]) -> Bool:
        if len(users) == 1:
            return users[0]
        needed = self.model.new_bool_var("")
        self.model.add_max_equality(needed, users)
        return needed

    def _ask_gaskets(self, circuit: CircuitNeeds, setups: Sequence[Bool], nozzles: Sequence[Bool], day: date) -> None:
        """Gaskets for the changes to be expected: tried in turn, half the nozzles in the box and one more; one for a
        feed screw alone."""
        new_ones = [x for option, x in zip(circuit.nozzles, nozzles, strict=True) if option.changed]
        screws = [x for setup, x in zip(circuit.setups, setups, strict=True) if "nozzle_seat" in setup.joints]
        if new_ones or screws:
            changes = self.model.new_int_var(0, len(new_ones) + 1, "")
            for screw in screws:
                self.model.add(changes >= screw)
            if new_ones:
                self.model.add(2 * changes >= sum(new_ones) + self._any(new_ones))
            self.purchase.need_joint("nozzle_seat", day, changes)
        covers = [x for setup, x in zip(circuit.setups, setups, strict=True) if "pump_cover" in setup.joints]
        if covers:
            self.purchase.need_joint("pump_cover", day, self._any(covers))

    def _free(self, circuit: CircuitNeeds, setups: Sequence[Bool], code: str, day: date) -> None:
        """A fitted part is free for certain when a setup replaces it and no setup in the box keeps it."""
        free = self.model.new_bool_var("")
        replacing = [x for setup, x in zip(circuit.setups, setups, strict=True) if code in setup.frees]
        for setup, x in zip(circuit.setups, setups, strict=True):
            if code not in setup.frees:
                self.model.add_implication(x, free.negated())
        self.model.add_bool_or([*replacing, free.negated()])
        self.purchase.free(code, day, free)
