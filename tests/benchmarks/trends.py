"""What the model says as an engine or its parts change: `python tests/benchmarks/trends.py [--cars 300]`.

Each line is what the trade expects (common practice, no source) over random cars, seeded: the share of the cars that it
moves in which it holds, and the one that goes farthest the wrong way. A nozzle's lean side is that the pull comes at
once and does not go flat; its rich side that it neither noses over nor smokes. Sizes are looked for 0.01 mm apart.
"""

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
from random_cars import FRONT, Figures, case_with, changed, random_car
from stumbling import Felt, felt

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.trade_rules import by_free_flow_screw, by_larger_pump
from configurator.slots.columns import JudgedShots, Mount
from configurator.slots.options import Option
from configurator.slots.slot import Slot

SWEEP_MM = np.arange(0.30, 2.201, 0.01)
COARSE_MM = np.arange(0.40, 1.801, 0.02)
STEP_MM = 0.03
"""The catalogue's sizes lie 0.02 to 0.03 mm apart."""
NOZZLE, PUMP, LOBE = (Slot("front", "nozzle"), Slot("front", "pump"), Slot("front", "lobe"))
LARGE = FRONT | {"pump": "pump-5cc", "lobe": "lobe-pike"}
SHORT_SHOTS = ("lobe-beck", "lobe-rigg", "lobe-scree", "lobe-dale", "lobe-fell", "lobe-ghyll", "lobe-moor")
"""Lobes of the small pump, from the least volume up."""


@dataclass
class Tally:
    """How often something holds, of the cars in which it moves."""

    says: str
    holds: int = 0
    moved: int = 0
    worst: tuple[float, str] = (0.0, "")
    figures: list[float] = field(default_factory=list)

    def count(self, holds: bool, wrong_by: float, car: str) -> None:
        self.moved += 1
        self.holds += holds
        if not holds and wrong_by > self.worst[0]:
            self.worst = (wrong_by, car)

    @property
    def row(self) -> list[str]:
        share = f"{100.0 * self.holds / self.moved:.1f} %" if self.moved else "-"
        middle = f"{np.median(self.figures):.2f}" if self.figures else ""
        return [self.says, share, f"{self.holds} of {self.moved}", middle, self.worst[1]]


def sized(case: Case, sizes_mm: Array = SWEEP_MM) -> JudgedShots:
    """What is felt with the fitted parts and each nozzle size, arrays of shape (sizes,)."""
    listed: dict[Slot, tuple[Option, ...]] = {slot: (option,) for slot, option in case.as_fitted.items()}
    listed[NOZZLE] = tuple(_nozzle(size) for size in sizes_mm.tolist())
    return case.columns("front", listed).shot.at((slice(None), 0, 0, 0, 0, 0))


def _nozzle(size_mm: float) -> Option:
    length_mm = float(np.clip(3.0, 1.6 * size_mm, 9.0 * size_mm))
    return Option("", FittedNozzle(diameter_mm=size_mm, style="straight", length_mm=length_mm), "none")


def lean_enough(shot: JudgedShots, case: Case) -> Mask:
    limits = case.catalog.limits
    return np.asarray((shot.delay_ms <= limits.delay_most_ms) & (shot.lean_sag_percent <= limits.sag_most_percent))


def rich_enough(shot: JudgedShots, case: Case) -> Mask:
    limits = case.catalog.limits
    return np.asarray((shot.rich_sag_percent <= limits.sag_most_percent) & (shot.smoke_ms <= limits.smoke_most_ms))


def meets(shot: JudgedShots, case: Case) -> Mask:
    return lean_enough(shot, case) & rich_enough(shot, case)


def smallest_mm(figures: Figures, catalog: Catalog, fitted: dict[str, Any] = LARGE) -> float:
    """The smallest orifice whose pull comes at once, run on between sizes; nan where none does."""
    delay = sized(case_with(figures, catalog, fitted)).delay_ms
    most = catalog.limits.delay_most_ms
    place = int(np.argmax(delay <= most))
    if place == 0:
        return float("nan")
    share = (delay[place - 1] - most) / (delay[place - 1] - delay[place])
    return float(SWEEP_MM[place - 1] + share * (SWEEP_MM[place] - SWEEP_MM[place - 1]))


Change = Callable[[Figures], Figures | None]


def _more(table: str, key: str, by: float = 1.0, plus: float = 0.0) -> Change:
    return lambda car: changed(car, table, **{key: car[table][key] * by + plus})


def _of_manual(table: str, key: str, by: float) -> Change:
    return lambda car: _more(table, key, by)(car) if car["driveline"]["transmission"] == "manual" else None


LARGER: dict[str, tuple[Change, int]] = {
    "more carburettor flow (x 1.25): larger nozzle": (_more("carburettor", "rated_flow_m3_min", 1.25), 1),
    "farther to the valves (+ 150 mm): larger": (_more("manifold", "distance_to_valves_mm", plus=150.0), 1),
    "larger manifold (x 1.3): larger": (_more("manifold", "volume_cc", 1.3), 1),
    "colder (- 20 deg C): larger": (_more("engine", "air_temperature_c", plus=-20.0), 1),
    "1,500 m higher, jets matched: smaller": (_more("engine", "altitude_m", plus=1500.0), -1),
    "shallower idle vacuum (+ 8 kPa in the manifold): smaller": (_more("engine", "idle_pressure_kpa", plus=8.0), -1),
}
SMOOTH = (
    ("engine", "displacement_cc"), ("engine", "idle_rpm"), ("engine", "idle_pressure_kpa"), ("manifold", "volume_cc"),
    ("manifold", "distance_to_valves_mm"), ("carburettor", "rated_flow_m3_min"), ("tip_in", "opening_time_s"),
)  # fmt: skip


def sizes_move(cars: list[Figures], catalog: Catalog) -> Iterator[Tally]:
    """The smallest nozzle as one figure of the car changes, the large pump and its tallest lobe fitted."""
    before = [smallest_mm(car, catalog) for car in cars]
    for says, (change, side) in LARGER.items():
        tally = Tally(says)
        for seed, (car, now) in enumerate(zip(cars, before, strict=True)):
            other = change(car)
            after = smallest_mm(other, catalog) if other else float("nan")
            if abs(after - now) > STEP_MM:
                tally.count(side * (after - now) > 0, abs(after - now), f"car {seed}: {now:.2f} to {after:.2f} mm")
                tally.figures.append(after / now)
        yield tally
    tally = Tally("1 % of any input: at most one step")
    for seed, (car, now) in enumerate(zip(cars, before, strict=True)):
        for table, key in SMOOTH:
            after = smallest_mm(changed(car, table, **{key: 1.01 * car[table][key]}), catalog)
            if np.isfinite(after - now):
                tally.count(
                    abs(after - now) <= STEP_MM, abs(after - now), f"car {seed}, {key}: {now:.2f} to {after:.2f} mm"
                )
                tally.figures.append(abs(after - now))
    yield tally


def short_of_fuel(car: Figures, catalog: Catalog) -> tuple[dict[str, Any], float] | None:
    """Parts whose pull comes at once and goes a little flat: the lobe whose lean sag is nearest to 5 % with the least
    nozzle that comes at once, and its size; None where none sags by 1 to 15 %."""
    found = []
    for lobe in SHORT_SHOTS:
        fitted = FRONT | {"lobe": lobe}
        size = smallest_mm(car, catalog, fitted)
        if np.isfinite(size):
            sag = float(sized(case_with(car, catalog, fitted), np.array([size])).lean_sag_percent[0])
            if 1.0 <= sag <= 15.0:
                found.append((abs(sag - 5.0), fitted, size))
    return min(found, key=lambda one: one[0])[1:] if found else None


SLOWER = {
    "half as heavy again": _of_manual("driveline", "mass_kg", 1.5),
    "taller gear (x 0.75)": _of_manual("driveline", "overall_ratio", 0.75),
}


def sags_move(cars: list[Figures], catalog: Catalog) -> Iterator[Tally]:
    """The lean sag as the car gets slower, same parts: as judged, and with the stumble acting back on speed."""
    short = [short_of_fuel(car, catalog) for car in cars]
    moves = Tally("a stumble acting back: lean sag within 0.5 %, same parts")
    for says, change in SLOWER.items():
        judged, back = Tally(f"{says}: goes flatter, same parts"), Tally("the same, the stumble acting back on speed")
        for seed, (car, parts) in enumerate(zip(cars, short, strict=True)):
            other = change(car)
            if other is None or parts is None:
                continue
            cases = [case_with(one, catalog, parts[0]) for one in (car, other)]
            as_judged = [float(sized(case, np.array([parts[1]])).lean_sag_percent[0]) for case in cases]
            acting = [_felt(case, parts[1]).lean_sag_percent for case in cases]
            for tally, (now, after) in ((judged, as_judged), (back, acting)):
                if abs(after - now) > 0.25:
                    tally.count(after > now, now - after, f"car {seed}: {now:.1f} to {after:.1f} %")
                    tally.figures.append(after - now)
            if says == next(iter(SLOWER)):
                moved = acting[0] - as_judged[0]
                moves.count(abs(moved) <= 0.5, abs(moved), f"car {seed}: {as_judged[0]:.1f} to {acting[0]:.1f} %")
                moves.figures.append(moved)
        yield from (judged, back)
    yield moves


def nozzles_move_by_a_stumble(cars: list[Figures], catalog: Catalog) -> Iterator[Tally]:
    """The delay at the smallest nozzle that comes at once, and that nozzle, with the stumble acting back on speed."""
    delays = Tally("a stumble acting back: delay within 5 ms at the smallest nozzle")
    sizes, most_ms = Tally("the same: smallest nozzle within a step"), catalog.limits.delay_most_ms
    for seed, car in enumerate(cars):
        now_mm = smallest_mm(car, catalog)
        if np.isfinite(now_mm):
            case, near_mm = case_with(car, catalog, LARGE), now_mm * np.array([0.85, 0.93, 1.0, 1.04])
            late_ms = np.array([_felt(case, size).delay_ms for size in near_mm.tolist()])
            after_mm, moved = float(np.interp(-most_ms, -late_ms, near_mm)), late_ms[2] - most_ms
            delays.count(abs(moved) <= 5.0, abs(moved), f"car {seed}: {moved:+.0f} ms")
            sizes.count(abs(after_mm - now_mm) <= STEP_MM, abs(after_mm - now_mm),
                        f"car {seed}: {now_mm:.2f} to {after_mm:.2f} mm")  # fmt: skip
            delays.figures.append(moved)
            sizes.figures.append(after_mm / now_mm)
    yield from (delays, sizes)


def _felt(case: Case, size_mm: float) -> Felt:
    return felt(case, case.as_fitted | {NOZZLE: _nozzle(size_mm)}, acts_back=True)


def volume_wanted_cc(figures: Figures, catalog: Catalog) -> float:
    """The least shot with which some nozzle comes at once and does not go flat; nan where none does. Lobes made for
    this: the shipped one of the small pump, its lift from 1 to 8 mm, in a pump that holds it."""
    case = case_with(figures, catalog)
    pump, lobe = case.as_fitted[PUMP], case.as_fitted[LOBE].read(Mount)
    lifts = np.geomspace(1.0, 8.0, 40)
    listed: dict[Slot, tuple[Option, ...]] = {slot: (option,) for slot, option in case.as_fitted.items()}
    listed[NOZZLE] = tuple(_nozzle(size) for size in COARSE_MM.tolist())
    large = {"capacity_cc": 9.0, "safe_stroke_mm": 20.0}
    listed[PUMP] = (Option("", pump.figures.model_copy(update=large), "none"),)  # type: ignore[union-attr]
    listed[LOBE] = tuple(
        Option("", Mount(lobe.lobe.model_copy(update={"total_lift_mm": lift}), 0.0), "none") for lift in lifts.tolist()
    )
    shot = case.columns("front", listed).shot.at((slice(None), 0, 0, slice(None), 0, 0))
    enough = lean_enough(shot, case)
    return float(shot.volume_cc[enough].min()) if enough.any() else float("nan")


def volumes_move(cars: list[Figures], catalog: Catalog) -> Iterator[Tally]:
    tally = Tally("a converter that lets it flare: more volume")
    for seed, car in enumerate(cars):
        if car["driveline"]["transmission"] == "manual":
            flaring = car | {"driveline": {"transmission": "converter", "stall_rpm": 2400.0}}
            now, after = volume_wanted_cc(car, catalog), volume_wanted_cc(flaring, catalog)
            if abs(after - now) > 0.05 * now:
                tally.count(after > now, (now - after) / now, f"car {seed}: {now:.2f} to {after:.2f} cc")
                tally.figures.append(after / now)
    yield tally


def every_pair(cars: list[Figures], catalog: Catalog) -> Iterator[Tally]:
    """Every pump and lobe of the shipped catalogue with every size: is there an answer, and what lies about it."""
    small = Tally("at 0.75 of the smallest that meets: hesitates")
    large = Tally("at 1.5 of it, volume that can flood: smoke or noses over, after a clean start")
    island = Tally("meets in one range of sizes")
    answer, common = Tally("above 1.5 l: some shipped parts meet"), Tally("2.5 to 8 l: smallest inside 0.64 to 1.32 mm")
    jumps = Tally("0.64 to 1.32 mm, up to twice the limits: no jump over 5 ms or 0.5 % in 0.01 mm")
    for seed, car in enumerate(cars):
        case = case_with(car, catalog)
        listed: dict[Slot, tuple[Option, ...]] = {slot: (option,) for slot, option in case.as_fitted.items()}
        listed[NOZZLE] = tuple(_nozzle(size) for size in COARSE_MM.tolist())
        listed[PUMP], listed[LOBE] = case.options[PUMP].kinds, case.options[LOBE].kinds
        shot = case.columns("front", listed).shot.at((slice(None), 0, slice(None), slice(None), 0, 0))
        ok, litres = meets(shot, case), car["engine"]["displacement_cc"] / 1e3
        if litres > 1.5:
            answer.count(bool(ok.any()), litres, f"car {seed}, {litres:.1f} l")
        if litres > 2.5 and ok.any():
            size = float(COARSE_MM[ok.any(axis=(1, 2)).argmax()])
            common.count(0.635 <= size <= 1.325, abs(np.log(size / 0.92)), f"car {seed}, {litres:.1f} l: {size:.2f} mm")
            common.figures.append(size)
        for pump, lobe in zip(*np.nonzero(ok.any(axis=0)), strict=True):
            own = ok[:, pump, lobe]
            begins = int(np.sum(np.diff(np.pad(own.astype(int), 1)) == 1))
            island.count(begins == 1, float(begins), f"car {seed}")
            smallest = COARSE_MM[own.argmax()]
            around = shot.at((slice(None), int(pump), int(lobe)))
            less, more = (int(np.abs(COARSE_MM - by * smallest).argmin()) for by in (0.75, 1.5))
            if COARSE_MM[0] <= 0.76 * smallest:
                late = around.delay_ms[less] > case.catalog.limits.delay_most_ms
                small.count(bool(late), float(case.catalog.limits.delay_most_ms - around.delay_ms[less]), f"car {seed}")
            drowns = around.smoke_ms[-1] > 2.0 * case.catalog.limits.smoke_most_ms
            if 1.5 * smallest <= COARSE_MM[-1] and pump == len(listed[PUMP]) - 1 and drowns:
                limits = case.catalog.limits
                rich = (
                    around.smoke_ms[more] > limits.smoke_most_ms
                    or around.rich_sag_percent[more] > limits.sag_most_percent
                )
                clean = around.delay_ms[more] <= limits.delay_most_ms
                large.count(bool(rich and clean), 1.0, f"car {seed}")
        fine = sized(case, np.arange(0.64, 1.325, 0.01))
        jump_ms = _jump(fine.delay_ms, 2.0 * case.catalog.limits.delay_most_ms)
        most = 2.0 * case.catalog.limits.sag_most_percent
        jump_percent = max(_jump(fine.lean_sag_percent, most), _jump(fine.rich_sag_percent, most))
        worst = max(jump_ms / 5.0, jump_percent / 0.5)
        jumps.count(worst <= 1.0, worst, f"car {seed}: {jump_ms:.1f} ms, {jump_percent:.2f} %")
    yield from (small, large, island, jumps, answer, common)


def rules_of_the_trade(cars: list[Figures], catalog: Catalog) -> Iterator[Tally]:
    """By a free-flow screw and by the larger pump, in cars that have a plain one and the small one: with a nozzle that
    asks for both in every car, and with its own in the cars that need one so large."""
    effects = {"free-flow screw": by_free_flow_screw, "larger pump": by_larger_pump}
    plain, from_mm = FRONT | {"feed_screw": "screw-plain"}, catalog.limits.larger_pump_from_mm
    cases = [case_with(car, catalog, plain) for car in cars]
    own_mm = [smallest_mm(car, catalog) for car in cars]
    for where, sizes in (("at 1.03 mm", [1.03] * len(cars)), (f"at its own nozzle, from {from_mm:g} mm", own_mm)):
        for what, effect in effects.items():
            tally = Tally(f"{what} {where}: less hesitation or sag")
            for seed, (case, size_mm) in enumerate(zip(cases, sizes, strict=True)):
                gain = (
                    effect(case, case.as_fitted | {NOZZLE: _nozzle(size_mm)}, "front") if size_mm >= from_mm else None
                )
                if gain:
                    tally.count(gain.is_one, -gain.delay_ms, f"car {seed}: {-gain.delay_ms:.0f} ms more")
                    tally.figures.append(gain.delay_ms)
            yield tally


def _jump(values: Array, most: float) -> float:
    """The greatest step between neighbours that are both within a most."""
    steps = np.abs(np.diff(values))[np.maximum(values[1:], values[:-1]) <= most]
    return float(steps.max(initial=0.0))


def table(cars: list[Figures], catalog: Catalog) -> list[list[str]]:
    parts = (sizes_move, sags_move, nozzles_move_by_a_stumble, volumes_move, every_pair, rules_of_the_trade)
    return [tally.row for part in parts for tally in part(cars, catalog)]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cars", type=int, default=300)
    asked = parser.parse_args()
    from tabulate import tabulate

    rows = table([random_car(seed) for seed in range(asked.cars)], load_catalog(shipped_catalog_dir()))
    headings = ["what must come out", "holds in", "cars", "middle", "farthest wrong"]
    text = tabulate(rows, headings, tablefmt="github", disable_numparse=True)
    print(f"{asked.cars} random cars\n\n{text}")


if __name__ == "__main__":
    main()
