"""The parts order as a mixed-integer program, written anew from vehicles and market, for HiGHS, SCIP and CP-SAT.

It means what `whole_order` means: least money with every vehicle at its sureness. A scenario is served by a
setup in the box, and by no more of it than the nozzles that go with it there; who needs a part pays some supplier that
has it. Both are more than whole numbers need, and keep fractions from being cheap. In trials on the example meeting
that beat pairs of setup and nozzle, and a flow of every scenario through such pairs.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from math import ceil, inf
from time import perf_counter
from typing import Any, NamedTuple

import numpy as np
from whole_order import OrderModel

from configurator.ordering.needs import CircuitNeeds, diameter_mm
from configurator.ordering.plan import Wanted
from configurator.ordering.purchase import Market

Terms = Mapping[int, float]


class Found(NamedTuple):
    """Money and what is proven of it, in hundredths; seconds; and (seconds, cost, bound) each time one got better."""

    cost: float
    bound: float
    seconds: float
    trajectory: list[tuple[float, float, float]]


Peer = Callable[[Sequence[Wanted], Market, float, float], Found]
"""Vehicles, market, relative gap that is good enough, limit in seconds. The cost is infinite where none was found."""


class Program:
    """Columns (price, most, whether whole) and rows (weights, least, most), built one at a time."""

    def __init__(self) -> None:
        self.price: list[float] = []
        self.most: list[float] = []
        self.whole: list[bool] = []
        self.rows: list[tuple[Terms, float, float]] = []

    def new(self, price: float = 0.0, most: float = 1.0, *, whole: bool = True) -> int:
        self.price.append(price)
        self.most.append(most)
        self.whole.append(whole)
        return len(self.price) - 1

    def add(self, terms: Terms, least: float = -inf, most: float = inf) -> None:
        self.rows.append((terms, least, most))

    def any_of(self, users: Sequence[int]) -> int:
        """A column that is 1 where one of these is; costs keep it at 0 otherwise."""
        if len(users) == 1:
            return users[0]
        needed = self.new(whole=False)
        for x in users:
            self.add({needed: 1, x: -1}, least=0)
        return needed


class OrderProgram(Program):
    """The order of some vehicles from a market."""

    def __init__(self, wanted: Sequence[Wanted], market: Market) -> None:
        super().__init__()
        self.market = market
        self.needs: dict[str, list[tuple[date, Terms]]] = {}
        self.freed: dict[str, list[tuple[date, int]]] = {}
        self.drills: list[tuple[int, list[str], date]] = []
        for one in wanted:
            self._vehicle(one)
        self._buy()

    def _need(self, code: str, day: date, terms: Terms) -> None:
        self.needs.setdefault(code, []).append((day, terms))

    def _joint(self, joint: str, day: date, times: Sequence[int]) -> None:
        for part in self.market.consumables:
            if part.joint == joint and times:
                self._need(part.code, day, {x: part.quantity for x in times})

    def _vehicle(self, one: Wanted) -> None:
        needs, day = one.needs, one.day
        shared = [self.new() for _ in needs.shared]
        self.add(dict.fromkeys(shared, 1), 1, 1)
        covered = [self.new() for _ in range(one.scenarios)]
        self.add(dict.fromkeys(covered, 1), least=one.enough)
        for circuit in needs.circuits:
            self._circuit(circuit, shared, covered, day)
        for x, (spacer, relief) in zip(shared, needs.shared, strict=True):
            if spacer.work == "fit" and spacer.code:
                self._need(spacer.code, day, {x: 1})
            if spacer.changed or relief.changed:
                self._joint("carburettor_flange", day, [x])
            if relief.changed:
                self._joint("intake_manifold", day, [x])

    def _circuit(self, circuit: CircuitNeeds, shared: Sequence[int], covered: Sequence[int], day: date) -> None:
        setups = [self.new() for _ in circuit.setups]
        nozzles = [self.new(o.price if o.work == "redrill" else 0) for o in circuit.nozzles]
        for has, setup in zip(setups, circuit.setups, strict=True):
            self.add({has: 1} | {x: -1 for x, fits in zip(shared, setup.goes_with, strict=True) if fits}, most=0)
        self._cover(circuit, setups, nozzles, covered)
        by_code: dict[str, list[int]] = {}
        for has, setup in zip(setups, circuit.setups, strict=True):
            for code in setup.codes:
                by_code.setdefault(code, []).append(has)
        for has, option in zip(nozzles, circuit.nozzles, strict=True):
            if option.work == "fit" and option.code:
                by_code.setdefault(option.code, []).append(has)
            elif option.work == "redrill":
                self.drills.append((has, self.market.drills_of(diameter_mm(option)), day))
        for code, users in by_code.items():
            self._need(code, day, {self.any_of(users): 1})
        for code in {code for setup in circuit.setups for code in setup.frees}:
            free = self.new()
            replacing = {x: -1 for x, s in zip(setups, circuit.setups, strict=True) if code in s.frees}
            self.add({free: 1} | replacing, most=0)
            for x in (x for x, s in zip(setups, circuit.setups, strict=True) if code not in s.frees):
                self.add({free: 1, x: 1}, most=1)
            self.freed.setdefault(code, []).append((day, free))
        new_ones = [x for x, option in zip(nozzles, circuit.nozzles, strict=True) if option.changed]
        screws = [x for x, s in zip(setups, circuit.setups, strict=True) if "nozzle_seat" in s.joints]
        if new_ones or screws:
            changes = self.new(most=len(new_ones) + 1)
            for x in screws:
                self.add({changes: 1, x: -1}, least=0)
            any_new = self.new(whole=False)
            for x in new_ones:
                self.add({any_new: 1, x: -1}, least=0)
            self.add({changes: 2, any_new: -1} | dict.fromkeys(new_ones, -1), least=0)
            self._joint("nozzle_seat", day, [changes])
        if covers := [x for x, s in zip(setups, circuit.setups, strict=True) if "pump_cover" in s.joints]:
            self._joint("pump_cover", day, [self.any_of(covers)])

    def _cover(
        self, circuit: CircuitNeeds, setups: Sequence[int], nozzles: Sequence[int], covered: Sequence[int]
    ) -> None:
        for k, seen in enumerate(covered):
            can = circuit.covers[:, :, k]
            served = {s: self.new(whole=False) for s in np.flatnonzero(can.any(axis=1)).tolist()}
            self.add({seen: 1} | {x: -1 for x in served.values()}, most=0)
            self.add({seen: 1} | {nozzles[n]: -1 for n in np.flatnonzero(can.any(axis=0)).tolist()}, most=0)
            for s, x in served.items():
                self.add({x: 1, setups[s]: -1}, most=0)
                self.add({x: 1} | {nozzles[n]: -1 for n in np.flatnonzero(can[s]).tolist()}, most=0)

    def _buy(self) -> None:
        market = self.market
        needed = {code: sum(w * self.most[x] for _, terms in needs for x, w in terms.items())
                  for code, needs in self.needs.items()}  # fmt: skip
        needed |= {code: 1.0 for _, codes, _ in self.drills for code in codes}
        goods: dict[str, dict[int, float]] = {code: {} for code in market.suppliers}
        used = {code: self.new() for code in market.suppliers}
        brought: dict[str, list[tuple[date, int, int]]] = {}
        buys: dict[str, list[tuple[date, int]]] = {}
        for article in market.articles:
            terms = market.suppliers[article.supplier]
            asks = max(100 * terms.minimum_order, 100 * (terms.free_delivery_from or 0))
            of_use = max(ceil(needed.get(code, 0) / each) for code, each in article.brings.items())
            if not of_use and not asks:
                continue
            most = max(of_use, article.tiers[-1].from_packs) + ceil(asks / min(t.price or 1 for t in article.tiers))
            prices, arrives = [], market.arrives(article)
            for tier, following in zip(article.tiers, [*article.tiers[1:], None], strict=True):
                below = most if following is None else following.from_packs - 1
                count, at_price = self.new(tier.price, below), self.new()
                self.add({count: 1, at_price: -tier.from_packs}, least=0)
                self.add({count: 1, at_price: -below}, most=0)
                goods[article.supplier][count] = tier.price
                prices.append(at_price)
                for code, each in article.brings.items():
                    brought.setdefault(code, []).append((arrives, count, each))
                    buys.setdefault(code, []).append((arrives, at_price))
            self.add(dict.fromkeys(prices, 1) | {used[article.supplier]: -1}, most=0)
        self._supply(brought, buys)
        for code, terms in market.suppliers.items():
            self.add(goods[code] | {used[code]: -round(100 * terms.minimum_order)}, least=0)
            pays = self.new(round(100 * terms.delivery_charge))
            free = None if terms.free_delivery_from is None else round(100 * terms.free_delivery_from)
            if free is None:
                self.add({pays: 1, used[code]: -1}, least=0)
            else:
                self.add(goods[code] | {pays: free, used[code]: -free}, least=0)

    def _supply(self, brought: Mapping[str, list[tuple[date, int, int]]], buys: Mapping[str, list[tuple[date, int]]]
                ) -> None:  # fmt: skip
        for code, needs in self.needs.items():
            freed, shelf = self.freed.get(code, []), self.market.shelf.get(code, 0)
            days = self.market.looked_at(code, (day for day, _ in needs), (day for day, _ in freed))
            for day in days:
                row: dict[int, float] = {}
                for _, terms in (need for need in needs if need[0] <= day):
                    for x, weight in terms.items():
                        row[x] = row.get(x, 0) + weight
                row |= {count: -each for arrives, count, each in brought.get(code, []) if arrives <= day}
                row |= {free: -1 for when, free in freed if when < day}
                self.add(row, most=shelf)
            for day, terms in needs:
                if not shelf and not any(when < day for when, _ in freed):
                    paying = {x: -1 for arrives, x in buys.get(code, []) if arrives <= day}
                    for x in (x for x in terms if self.most[x] == 1):
                        self.add({x: 1} | paying, most=0)
        for has, codes, day in self.drills:
            if not any(self.market.shelf.get(code, 0) for code in codes):
                there = {x: -1 for code in codes for arrives, x in buys.get(code, []) if arrives <= day}
                self.add({has: 1} | there, most=0)


def by_highs(wanted: Sequence[Wanted], market: Market, gap: float, limit_s: float, **settings: Any) -> Found:
    """HiGHS as it comes: less or more effort in heuristics, no symmetry, no restarts and other reliability lost."""
    import highspy

    begin = perf_counter()
    program = OrderProgram(wanted, market)
    # A process keeps its first number of threads otherwise, and refuses any other.
    highspy.Highs.resetGlobalScheduler(True)
    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    solver.silent()
    for option, value in ({"mip_rel_gap": gap, "mip_abs_gap": 0.99, "threads": 2} | settings).items():
        solver.setOptionValue(option, value)
    columns, whole = len(program.price), highspy.HighsVarType
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = columns, len(program.rows)
    lp.col_cost_, lp.col_upper_ = np.array(program.price), np.array(program.most, dtype=float)
    lp.col_lower_ = np.zeros(columns)
    lp.integrality_ = [whole.kInteger if one else whole.kContinuous for one in program.whole]
    lp.row_lower_ = np.array([least for _, least, _ in program.rows])
    lp.row_upper_ = np.array([most for _, _, most in program.rows])
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *(len(terms) for terms, _, _ in program.rows)])
    lp.a_matrix_.index_ = np.array([x for terms, _, _ in program.rows for x in terms], dtype=np.int32)
    lp.a_matrix_.value_ = np.array([w for terms, _, _ in program.rows for w in terms.values()], dtype=float)
    solver.passModel(lp)
    trajectory: list[tuple[float, float, float]] = []

    def note(event: Any) -> None:
        cost, bound = event.data_out.mip_primal_bound, event.data_out.mip_dual_bound
        if not trajectory or (cost, bound) != trajectory[-1][1:]:
            trajectory.append((perf_counter() - begin, cost, bound))

    solver.cbMipLogging += note
    solver.cbMipImprovingSolution += note
    solver.setOptionValue("time_limit", max(0.01, limit_s - (perf_counter() - begin)))
    if solver.run() == highspy.HighsStatus.kError:
        raise RuntimeError("HiGHS refused the model")
    info = solver.getInfo()
    seconds = perf_counter() - begin
    if solver.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
        return Found(inf, inf, seconds, trajectory)
    return Found(info.objective_function_value, info.mip_dual_bound, seconds, trajectory)


def by_scip(wanted: Sequence[Wanted], market: Market, gap: float, limit_s: float, **settings: Any) -> Found:
    """SCIP, as it comes with ortools, on one thread; more presolving won, more cuts and fewer heuristics lost."""
    from datetime import timedelta

    from ortools.math_opt import model_pb2
    from ortools.math_opt.python import mathopt

    begin = perf_counter()
    program = OrderProgram(wanted, market)
    proto = model_pb2.ModelProto()
    columns, rows = range(len(program.price)), range(len(program.rows))
    proto.variables.ids.extend(columns)
    proto.variables.lower_bounds.extend(0.0 for _ in columns)
    proto.variables.upper_bounds.extend(map(float, program.most))
    proto.variables.integers.extend(program.whole)
    proto.objective.linear_coefficients.ids.extend(x for x in columns if program.price[x])
    proto.objective.linear_coefficients.values.extend(float(price) for price in program.price if price)
    proto.linear_constraints.ids.extend(rows)
    proto.linear_constraints.lower_bounds.extend(least for _, least, _ in program.rows)
    proto.linear_constraints.upper_bounds.extend(most for _, _, most in program.rows)
    matrix = proto.linear_constraint_matrix
    for row, (terms, _, _) in enumerate(program.rows):
        for x, weight in sorted(terms.items()):
            matrix.row_ids.append(row)
            matrix.column_ids.append(x)
            matrix.coefficients.append(float(weight))
    trajectory: list[tuple[float, float, float]] = []

    def note(lines: Sequence[str]) -> None:
        for line in lines:
            cells = [cell.strip() for cell in line.split("|")]
            if len(cells) > 8 and cells[0].endswith("s"):
                bound, cost = (_figure(cell) for cell in cells[-4:-2])
                if not trajectory or (cost, bound) != trajectory[-1][1:]:
                    trajectory.append((perf_counter() - begin, cost, bound))

    told = {"relative_gap_tolerance": gap, "absolute_gap_tolerance": 0.99, "presolve": mathopt.Emphasis.HIGH}
    left = timedelta(seconds=max(0.01, limit_s - (perf_counter() - begin)))
    parameters = mathopt.SolveParameters(time_limit=left, **(told | settings))
    model = mathopt.Model.from_model_proto(proto)
    result = mathopt.solve(model, mathopt.SolverType.GSCIP, params=parameters, msg_cb=note)
    seconds = perf_counter() - begin
    bounds = result.termination.objective_bounds
    if result.termination.reason == mathopt.TerminationReason.INFEASIBLE:
        return Found(inf, inf, seconds, trajectory)
    return Found(bounds.primal_bound, bounds.dual_bound, seconds, trajectory)


def _figure(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return inf if "--" in cell else -inf


def by_cp_sat(wanted: Sequence[Wanted], market: Market, gap: float, limit_s: float, **settings: Any) -> Found:
    """CP-SAT on the model of every choice at once (`whole_order`). Four workers, though there be two
    cores, beat two of any kind (max_lp, reduced_costs, lb_tree_search, core) by far, and eight and twelve by a little.
    """
    from ortools.sat.python import cp_model

    begin = perf_counter()
    built = OrderModel(wanted, market)
    for box in built.boxes:
        built.model.add(sum(box.covered) >= box.wanted.enough)
    built.model.minimize(built.purchase.cost)
    trajectory: list[tuple[float, float, float]] = []

    class Note(cp_model.CpSolverSolutionCallback):
        def on_solution_callback(self) -> None:
            trajectory.append((perf_counter() - begin, self.objective_value, self.best_objective_bound))

    def bounded(bound: float) -> None:
        cost = trajectory[-1][1] if trajectory else inf
        trajectory.append((perf_counter() - begin, cost, bound))

    solver = cp_model.CpSolver()
    solver.parameters.random_seed = 1
    solver.parameters.num_workers = 4
    solver.parameters.relative_gap_limit = gap
    for name, value in settings.items():
        if isinstance(value, list):
            getattr(solver.parameters, name).extend(value)
        else:
            setattr(solver.parameters, name, value)
    solver.parameters.max_time_in_seconds = max(0.01, limit_s - (perf_counter() - begin))
    solver.best_bound_callback = bounded
    status = solver.solve(built.model, Note())
    seconds = perf_counter() - begin
    if status == cp_model.INFEASIBLE:
        return Found(inf, inf, seconds, trajectory)
    cost = solver.objective_value if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else inf
    return Found(cost, solver.best_objective_bound, seconds, trajectory)


PEERS: dict[str, Peer] = {"HiGHS": by_highs, "SCIP": by_scip, "CP-SAT": by_cp_sat}
