"""From lists of parts to arrays: what every combination delivers into a tip-in, and how it is felt."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property, lru_cache

import numpy as np

from configurator.arrays import Array, Indices, Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.limits import Limits
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.physics.assumptions import Assumptions
from configurator.physics.fuel_path import FuelPath
from configurator.physics.lateness import NOTHING_COVERED, Bits, Lateness, Regions
from configurator.physics.mixture import taken
from configurator.physics.pump import PumpedFuel, PumpMechanism, deliver, follower_travel, shot_duration
from configurator.physics.tip_in import CircuitEvent
from configurator.physics.verdict import BLOCK, Allowed, Verdict
from configurator.slots.columns import JudgedShots, Mount


def allowed_by(limits: Limits) -> Allowed:
    """What goes unfelt as the physics takes it."""
    return Allowed(limits.delay_most_ms, limits.sag_most_percent, limits.smoke_most_ms)


@dataclass(frozen=True)
class Circuit:
    """One pump circuit of a vehicle: its event, and what the shot needs besides the parts."""

    name: str
    event: CircuitEvent
    assumed: Assumptions
    allowed: Allowed

    @cached_property
    def verdict(self) -> Verdict:
        straight = 1.0 - self.assumed.shot_film_share
        missed = (straight, straight + self.assumed.aimed_gain)
        return Verdict(self.event, self.allowed, missed, self.assumed.pull_lag_s)

    @property
    def idle_deg(self) -> float:
        """Opening of the circuit's throttle before the tip-in [deg]."""
        return float(self.event.throttle_deg[0])

    def deliver(
        self,
        nozzles: Sequence[FittedNozzle],
        screws: Sequence[FeedScrewFigures],
        pumps: Sequence[PumpFigures],
        mounts: Sequence[Mount],
        slack_mm: Array,
    ) -> PumpedFuel:
        """Shots of combinations given as lists of equal length, one entry a combination, with slack in the linkage."""
        return delivered_in([self], nozzles, screws, pumps, mounts, slack_mm)[0]

    def film_share(self, nozzles: Sequence[FittedNozzle]) -> Array:
        """Share of the shot that lands on the walls, shape (n,)."""
        aimed = np.array([n.style == "aimed" for n in nozzles])
        return np.asarray(self.assumed.shot_film_share - self.assumed.aimed_gain * aimed)

    def flow_kg_s(self, shot: PumpedFuel) -> Array:
        """Mean fuel flow in each step [kg/s], shape (steps, n)."""
        steps = np.diff(self.event.time_s)[:, None]
        return np.asarray(shot.delivered_m3 * self.event.fuel.density_kg_m3 / steps)


@dataclass(frozen=True)
class _Drawers:
    """Figures of parts as arrays, one entry a part; lifts [m] over the event, shape (times, mounts); pull_pa : at the
    nozzle tip, (times,), or (times, n) where each combination to be delivered has its own."""

    circuit: Circuit
    diameter_m: Array
    length_m: Array
    orifices: Array
    screw_area_m2: Array
    pump: PumpMechanism
    lever_ratio: Array
    lift_m: Array
    pull_pa: Array

    @classmethod
    def of(
        cls,
        circuit: Circuit,
        nozzles: Sequence[FittedNozzle],
        screws: Sequence[FeedScrewFigures],
        pumps: Sequence[PumpFigures],
        mounts: Sequence[Mount],
    ) -> "_Drawers":
        angle_deg = circuit.event.throttle_deg
        lifts = {mount: mount.lift_mm(angle_deg) * 1e-3 for mount in dict.fromkeys(mounts)}
        return cls(
            circuit,
            diameter_m=np.array([n.diameter_mm for n in nozzles]) * 1e-3,
            length_m=np.array([n.length_mm for n in nozzles]) * 1e-3,
            orifices=np.array([float(n.orifices) for n in nozzles]),
            screw_area_m2=np.array([s.passage_area_m2 for s in screws]),
            pump=PumpMechanism(*(np.array([getattr(p, item.name) for p in pumps]) for item in fields(PumpMechanism))),
            lever_ratio=np.array([p.lever_ratio for p in pumps]),
            lift_m=np.column_stack([lifts[mount] for mount in mounts]),
            pull_pa=circuit.event.pull_pa(circuit.assumed),
        )

    def deliver(self, nozzle: Indices, screw: Indices, pump: Indices, mount: Indices, slack_mm: Array) -> PumpedFuel:
        """Shots of n combinations of these parts, each given by its parts' places, shape (n,)."""
        event, own = self.circuit.event, self.pump.take(pump)
        path = FuelPath(
            self.diameter_m[nozzle], self.length_m[nozzle], self.orifices[nozzle], self.screw_area_m2[screw],
            self.circuit.assumed.screw_coefficient, event.fuel.density_kg_m3, event.fuel.viscosity_pa_s,
        )  # fmt: skip
        lift = self.lift_m.take(mount, axis=1)
        follower = follower_travel(lift, self.lever_ratio[pump], slack_mm * 1e-3, own)
        return deliver(event.time_s, follower, own, path, self.pull_pa)


def delivered_in(
    circuits: Sequence[Circuit],
    nozzles: Sequence[FittedNozzle],
    screws: Sequence[FeedScrewFigures],
    pumps: Sequence[PumpFigures],
    mounts: Sequence[Mount],
    slack_mm: Array,
) -> list[PumpedFuel]:
    """Shots of the same combinations, given as lists of equal length, in several events that share times, fuel and the
    screw's coefficient: side by side, which takes little longer than one of them."""
    every, count = np.tile(np.arange(len(nozzles)), len(circuits)), len(nozzles)
    drawers = [_Drawers.of(circuit, nozzles, screws, pumps, mounts) for circuit in circuits]
    together = replace(
        drawers[0],
        lift_m=np.hstack([own.lift_m for own in drawers]),
        pull_pa=np.repeat(np.column_stack([own.pull_pa for own in drawers]), count, axis=1),
    )
    shot = together.deliver(every, every, every, np.arange(len(every)), np.tile(slack_mm, len(circuits)))
    return [
        PumpedFuel(shot.delivered_m3[:, first : first + count], shot.compression_m[first : first + count])
        for first in range(0, len(every), count)
    ]


@dataclass(frozen=True)
class _Plan:
    """What there is to work out of all combinations of lists of parts: each different one once.

    Nozzles that differ in style share a shot, and are judged apart; parts that differ in what the demand does not see
    are one. drives : different (pump, lobe) pairs with their slack. Combinations are numbered by drive, screw and
    nozzle, those with one shot side by side, and alike whatever order the lists have. number : of each (nozzle, screw,
    pair that goes together). figures : all that tells the combinations apart, in their order.
    """

    drawers: _Drawers
    nozzle: Indices
    film_share: Array
    screws: int
    pump: Indices
    mount: Indices
    slack_mm: Array
    number: Indices
    figures: Hashable

    @classmethod
    def of(
        cls,
        circuit: Circuit,
        nozzles: Sequence[FittedNozzle],
        screws: Sequence[FeedScrewFigures],
        pumps: Sequence[PumpFigures],
        mounts: Sequence[Mount],
        worth_it: Mask,
        slack_mm: Array,
    ) -> "_Plan":
        orifice, nozzle, orifices = _alike([(n.diameter_mm, n.length_mm, n.orifices) for n in nozzles])
        judged, judged_nozzle = np.unique(
            np.column_stack([nozzle, circuit.film_share(nozzles)]), axis=0, return_inverse=True
        )
        screw_kind, screw, screw_areas = _alike([s.passage_area_mm2 for s in screws])
        pump_kind, pump, mechanisms = _alike(
            [(p.diaphragm_area_m2, p.spring_preload_n, p.spring_rate_n_m, p.capacity_m3, p.lever_ratio) for p in pumps]
        )
        mount_kind, mount, lobes = _alike(
            [(m.phase_deg, m.lobe.total_lift_mm, m.lobe.duration_deg, m.lobe.nose, m.lobe.table) for m in mounts]
        )
        drives, drive = np.unique(
            np.column_stack([np.broadcast_to(pump[:, None], worth_it.shape)[worth_it],
                             np.broadcast_to(mount, worth_it.shape)[worth_it], slack_mm[worth_it]]),
            axis=0, return_inverse=True,
        )  # fmt: skip
        drawers = _Drawers.of(
            circuit, [nozzles[i] for i in orifice], [screws[i] for i in screw_kind], [pumps[i] for i in pump_kind],
            [mounts[i] for i in mount_kind],
        )  # fmt: skip
        number = (drive * len(screw_kind) + screw[:, None]) * len(judged) + judged_nozzle[:, None, None]
        return cls(
            drawers, judged[:, 0].astype(np.intp), judged[:, 1], len(screw_kind), drives[:, 0].astype(np.intp),
            drives[:, 1].astype(np.intp), drives[:, 2], number,
            (orifices, judged.tobytes(), screw_areas, mechanisms, lobes, drives.tobytes()),
        )  # fmt: skip

    @property
    def count(self) -> int:
        return len(self.nozzle) * self.screws * len(self.pump)

    def shots(self, block: range) -> tuple[PumpedFuel, Indices, Array]:
        """Shots of some of the combinations, each different one once; which one is each combination's, and the share
        of it that lands on the walls, (n,)."""
        rest, judged = np.divmod(np.array(block), len(self.nozzle))
        kinds = len(self.drawers.diameter_m)
        distinct, column = np.unique(rest * kinds + self.nozzle[judged], return_inverse=True)
        rest, nozzle = np.divmod(distinct, kinds)
        drive, screw = np.divmod(rest, self.screws)
        shot = self.drawers.deliver(nozzle, screw, self.pump[drive], self.mount[drive], self.slack_mm[drive])
        return shot, column, self.film_share[judged]


def _alike(figures: Sequence[Hashable]) -> tuple[list[int], Indices, Hashable]:
    """Place of the first of each kind of equal figures, the kind of each, and the figures of every kind; kinds are in
    one order whatever that of the figures."""
    kinds = {figure: kind for kind, figure in enumerate(sorted(dict.fromkeys(figures), key=repr))}
    kind = np.array([kinds[figure] for figure in figures], dtype=np.intp)
    return [int(place) for place in np.unique(kind, return_index=True)[1]], kind, tuple(kinds)


MOST_COMBINATIONS, TABLES_KEPT = 40_000, 12
"""Combinations of a table whose regions are kept, and how many tables."""


@lru_cache(maxsize=TABLES_KEPT)
def _kept(event: CircuitEvent, told: Hashable) -> dict[int, Bits]:
    """Regions worked out so far, by the first combination of their block: they hang on no run and no belief, so a car
    that is asked about again, after another run or with other parts of the catalogue in it, need not wait for them.
    told : all that they hang on besides the event."""
    return {}


def judge(
    circuit: Circuit,
    nozzles: Sequence[FittedNozzle],
    screws: Sequence[FeedScrewFigures],
    pumps: Sequence[PumpFigures],
    mounts: Sequence[Mount],
    worth_it: Mask,
    slack_mm: Array,
    engine: Lateness,
    *,
    with_regions: bool = False,
) -> JudgedShots:
    """What all combinations of the lists deliver, and how it is felt in one engine, over (nozzle, screw, pump, lobe).

    worth_it : shape (pumps, lobes), pairs that go together; the others are not worked out and meet nothing (the pull
    never comes). slack_mm : the same shape, slack in the linkage of each pair. Worked out in blocks, from delivery to
    region, so that memory does not grow with the combinations but for what is returned.
    """
    shape = (len(nozzles), len(screws), len(pumps), len(mounts))
    plan = _Plan.of(circuit, nozzles, screws, pumps, mounts, worth_it, slack_mm)
    found = {name: np.full(plan.count, np.nan) for name in _UNWORKED}
    bits = np.zeros((plan.count, len(NOTHING_COVERED)), dtype=np.uint8)
    told = (plan.figures, circuit.assumed, circuit.allowed, BLOCK)
    kept = _kept(circuit.event, told) if with_regions and plan.count <= MOST_COMBINATIONS else {}
    for first in range(0, plan.count, BLOCK):
        block = range(first, min(first + BLOCK, plan.count))
        shot, column, film_share = plan.shots(block)
        flow = circuit.flow_kg_s(shot)
        responses, missed = circuit.verdict.supply.responses(flow.astype(np.float32)), 1.0 - film_share
        felt = circuit.verdict.felt_in(taken(responses, column), missed, engine)
        delivered = {
            "volume_cc": shot.delivered_m3.sum(axis=0)[column] * 1e6,
            "ends_ms": shot_duration(circuit.event.time_s, shot.delivered_m3)[column] * 1e3,
            "peak_cc_s": flow.max(axis=0)[column] / circuit.event.fuel.density_kg_m3 * 1e6,
        }
        for name, values in {**vars(felt), **delivered}.items():
            found[name][block.start : block.stop] = values
        if with_regions:
            own = bits[block.start : block.stop]
            if first in kept:
                own[:] = kept[first]
            else:
                own[:] = Regions.of(circuit.verdict.felt_by(responses, column, missed).covers).bits
                kept[first] = own
    table = {name: np.full(shape, fill) for name, fill in _UNWORKED.items()}
    pump, mount = np.nonzero(worth_it)
    for name, values in found.items():
        table[name][:, :, pump, mount] = values[plan.number]
    regions = None
    if with_regions:
        regions = Regions(np.zeros((*shape, len(NOTHING_COVERED)), dtype=np.uint8))
        regions.bits[:, :, pump, mount] = bits[plan.number]
    return JudgedShots(**table, regions=regions)


_UNWORKED = {
    "delay_ms": np.inf, "lean_delay_ms": np.inf, "lean_sag_percent": np.inf, "lean_sag_at_ms": np.nan,
    "rich_sag_percent": np.inf, "rich_sag_at_ms": np.nan, "smoke_ms": np.inf, "pop_back_cycles": np.inf,
    "volume_cc": np.nan, "ends_ms": -np.inf, "peak_cc_s": np.nan, "sure_percent": np.nan,
}  # fmt: skip


def rear_main_delivers_ms(circuit: Circuit, share: float, late: Array) -> Array:
    """When the circuit's main flow, behind its lag, first reaches a share of what it settles at [ms after tip-in], for
    main circuits so late; the event's end where it does not, infinite where the circuit's throttles do not open."""
    event = circuit.event
    if not event.judged.any():
        return np.full(len(late), np.inf)
    lagged = np.sum([main.lagged(event.time_s, late) for main in event.mains], axis=0)
    steady = np.sum([main.steady(late) for main in event.mains], axis=0)
    delivers = (lagged >= share * np.maximum(steady, 1e-12)) & (steady > 0) & event.judged[:, None]
    first = np.where(delivers.any(axis=0), delivers.argmax(axis=0), len(event.time_s) - 1)
    return np.asarray(1e3 * event.time_s[first])
