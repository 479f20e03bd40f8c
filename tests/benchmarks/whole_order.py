"""The order by one model of every choice at once, for a handful of vehicles: the judge of the order's tests.

Each vehicle's box holds setups and nozzles; a scenario counts when a setup and a nozzle in the box cover it, in every
circuit. What boxes hold must have arrived, lie on the shelf, or have been set free for certain by a vehicle of an
earlier day. A nozzle that was tried is not counted on again: one of them stays in the car. Suppliers deliver once.
Goals are made least one after the other: what is asked for first (money, or sureness within a budget), then money.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from ortools.sat.python import cp_model

from configurator.ordering.needs import CircuitNeeds, diameter_mm
from configurator.ordering.plan import SHORT, BoxPlan, Plan, PurchaseWish, Wanted
from configurator.ordering.purchase import Amount, Bool, Market, Purchase, steady_solver


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
            self.purchase.work += self.purchase.market.labour(option.labour_min) * has
        users: dict[tuple[str, int], list[Bool]] = {}
        for setup, has in zip(circuit.setups, setups, strict=True):
            for job in setup.labour_min.items():
                users.setdefault(job, []).append(has)
        self.purchase.work += sum(self.purchase.market.labour(job[1]) * self._any(own) for job, own in users.items())

    def _ask_shared(self, box: BoxModel) -> None:
        """Spacer and pad relief, with the gaskets of the joints they open."""
        pairs = list(zip(box.shared, box.wanted.needs.shared, strict=True))
        for has, (spacer, relief) in pairs:
            if spacer.work == "fit" and spacer.code:
                self.purchase.need(spacer.code, box.wanted.day, has)
            self.purchase.work += relief.price * has
            labour = self.purchase.market.labour
            self.purchase.work += (labour(spacer.labour_min) + labour(relief.labour_min)) * has
        opened = sum(has for has, pair in pairs if any(option.changed for option in pair))
        relieved = sum(has for has, (_, relief) in pairs if relief.changed)
        self._need_joint("carburettor_flange", box.wanted.day, opened)
        self._need_joint("intake_manifold", box.wanted.day, relieved)

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
        self.purchase.free(code, day, free)

    def _need_joint(self, joint: str, day: date, times: Amount) -> None:
        """Gaskets for a joint that is opened so many times."""
        for part in self.purchase.market.consumables:
            if part.joint == joint:
                self.purchase.need(part.code, day, part.quantity * times)


def plan_whole(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish) -> Plan | None:
    """The cheapest order that reaches every sureness (within a budget: the surest), or None if there is none."""
    built = OrderModel(wanted, market, most_suppliers=wish.most_suppliers)
    model = built.model
    short = _shortfalls(built)
    if wish.budget is None:
        for shortfall in short:
            model.add(shortfall == 0)
        goals = [("money", built.purchase.cost)]
    else:
        model.add(built.purchase.cost <= wish.budget)
        goals = [(SHORT, sum(short)), ("money", built.purchase.cost)]
    if wish.fewest_deliveries:
        goals.insert(len(goals) - 1, ("deliveries", sum(built.purchase.used.values())))
    return _solved(built, goals, wish.effort)


def surest_whole(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish) -> Plan:
    """The order that comes nearest to every sureness whatever it costs; there always is one."""
    built = OrderModel(wanted, market, most_suppliers=wish.most_suppliers)
    plan = _solved(built, [(SHORT, sum(_shortfalls(built))), ("money", built.purchase.cost)], wish.effort)
    assert plan is not None
    return plan


def _shortfalls(built: OrderModel) -> list[cp_model.IntVar]:
    """Scenarios by which each vehicle falls short of what is wanted."""
    short = []
    for box in built.boxes:
        missing = built.model.new_int_var(0, box.wanted.enough, "")
        built.model.add(missing >= box.wanted.enough - sum(box.covered))
        short.append(missing)
    return short


def _solved(built: OrderModel, goals: Iterable[tuple[str, Any]], effort: float) -> Plan | None:
    """Goals made least one after the other, each proven, or the plan says what is."""
    plan: Plan | None = None
    proven, least, cut = True, None, ""
    for name, goal in goals:
        built.model.minimize(goal)
        solver = steady_solver(effort)
        status = solver.solve(built.model)
        if status == cp_model.INFEASIBLE and plan is None:
            return None
        assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE), f"nothing found for {name}: allow more effort"
        if status == cp_model.FEASIBLE and proven:
            proven, least, cut = False, int(-(-solver.best_objective_bound // 1)), name
        plan = _read(built, solver, proven, least, cut)
        built.model.add(goal <= solver.value(goal))
    return plan


def _read(built: OrderModel, solver: cp_model.CpSolver, proven: bool, least: int | None, goal: str) -> Plan:
    value = solver.value
    packs, delivery, cost = built.purchase.read(solver)
    bought = [(article, count) for article, count in zip(built.purchase.market.articles, packs, strict=True) if count]
    boxes = [
        BoxPlan.of(
            box.wanted.needs,
            {name: [i for i, x in enumerate(xs) if value(x)] for name, xs in box.setups.items()},
            {name: [i for i, x in enumerate(xs) if value(x)] for name, xs in box.nozzles.items()},
            next(i for i, x in enumerate(box.shared) if value(x)),
        )
        for box in built.boxes
    ]
    return Plan(bought, boxes, cost, delivery, proven, least, goal)
