"""What every tuner expects of a change to the vehicle or to a part; common practice, no source.

Smallest nozzles are read from a sweep of orifices in steps of 0.005 mm, all else held.
"""

from collections.abc import Callable, Sequence
from typing import Any

import building
import numpy as np
import pytest

from configurator.arrays import Array
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.band import Band, band_of
from configurator.judging.case import Case
from configurator.physics.shot_needed import shot_needed
from configurator.physics.spells import POOR_PHI
from configurator.slots.columns import JudgedShots, Lobes, Mount
from configurator.slots.options import Option
from configurator.slots.slot import SLOTS

SWEEP_MM = np.arange(0.40, 1.301, 0.005)
WIDE = {"feed_screw": "screw-free", "lobe": "lobe-high"}


def truck(front: dict[str, Any] | None = None, **tables: Any) -> Case:
    """The test truck with a screw that never limits and a tall lobe, figures of some tables overruled."""
    return building.case(building.vehicle(front=WIDE | (front or {}), **tables))


def shots(case: Case, nozzles_mm: Sequence[float] = (), style: str = "straight", **parts: int) -> JudgedShots:
    """Shots of the fitted circuit for a sweep of orifices, other slots by place in their lists; shape (n,)."""
    listed = {slot: options[:1] for slot, options in case.options.items()}
    for name, place in parts.items():
        slot = SLOTS[f"front.{name}"]
        listed[slot] = (case.options[slot][place],)
    if len(nozzles_mm):
        listed[SLOTS["front.nozzle"]] = tuple(
            Option("", FittedNozzle(diameter_mm=float(d), style=style, length_mm=3.0), "none") for d in nozzles_mm
        )
    return case.columns("front", listed).shot.at((slice(None), 0, 0, 0, 0, 0))


def smallest_mm(case: Case, sweep_mm: Array = SWEEP_MM, style: str = "straight") -> float:
    """The smallest orifice of the sweep whose pull comes at once; smoke is another story."""
    meets = shots(case, list(sweep_mm), style).delay_ms <= case.catalog.limits.delay_most_ms
    assert meets.any() and not meets[0], "the sweep must hold the answer"
    return float(sweep_mm[np.argmax(meets)])


def rises(values: Sequence[float]) -> bool:
    return bool(np.all(np.diff(values) > 0))


def over(measure: Callable[[Case], float], table: str, key: str, values: Sequence[float], **other: Any) -> list[float]:
    return [measure(truck(**other, **{table: {key: value}})) for value in values]


def test_more_carburettor_for_the_same_engine_wants_a_larger_nozzle() -> None:
    assert rises(over(smallest_mm, "carburettor", "rated_flow_m3_min", (17, 21, 25)))


def test_a_greater_distance_to_the_valves_wants_a_larger_nozzle() -> None:
    assert rises(over(smallest_mm, "manifold", "distance_to_valves_mm", (150, 250, 350)))


def fuel_at_once_g(case: Case) -> float:
    """What keeps the mixture at POOR_PHI for the first 150 ms [g]."""
    event, straight = case.circuits["front"].event, case.circuits["front"].assumed.shot_film_share
    needed = shot_needed(event, POOR_PHI, straight, case.engine) * np.diff(event.time_s)
    return 1e3 * float(needed[event.time_s[1:] <= 0.15].sum())


def test_a_larger_manifold_asks_for_more_fuel_at_once() -> None:
    """The air that fills it takes its fuel along."""
    assert rises(over(fuel_at_once_g, "manifold", "volume_cc", (2400, 4800, 7000)))


def test_colder_air_wants_a_larger_nozzle() -> None:
    assert rises(over(smallest_mm, "engine", "air_temperature_c", (30, 15, 0)))


def least_volume_cc(case: Case, nozzle_mm: float) -> float:
    """The least shot that comes at once through one nozzle and does not go flat: lobes from low to high on a pump that
    bears them all."""
    pump = building.larger_pump(safe_stroke_mm=20.0, capacity_cc=12.0)
    lifts = np.arange(0.5, 9.0, 0.025)
    lobes = [building.lobe("tried", float(lift), lever="long", phases_deg=(0.0,)) for lift in lifts]
    listed = {slot: options[:1] for slot, options in case.options.items()}
    nozzle = FittedNozzle(diameter_mm=nozzle_mm, style="straight", length_mm=3.0)
    listed[SLOTS["front.nozzle"]] = (Option("", nozzle, "none"),)
    listed[SLOTS["front.pump"]] = (Option("", pump, "none"),)
    listed[SLOTS["front.lobe"]] = tuple(Option("", Mount(lobe, 0.0), "none") for lobe in lobes)
    found, most = case.columns("front", listed).shot, case.catalog.limits
    meets = (found.delay_ms <= most.delay_most_ms) & (found.lean_sag_percent <= most.sag_most_percent)
    assert meets.any() and not meets.ravel()[0], "the lobes tried must hold the answer"
    return float(found.volume_cc.ravel()[np.argmax(meets)])


def lean_sag_percent(case: Case) -> float:
    return float(shots(case).lean_sag_percent[0])


@pytest.mark.parametrize("key, values", [("mass_kg", (1500, 2000, 2600)), ("overall_ratio", (6.0, 5.2, 4.5))])
def test_a_heavier_car_or_taller_gearing_goes_flatter_with_the_same_parts(key: str, values: tuple[float, ...]) -> None:
    """The main circuit comes later to a slower engine; what comes at once is the same within the nozzles' step."""
    assert rises(over(lean_sag_percent, "driveline", key, values))
    assert np.ptp(over(smallest_mm, "driveline", key, values)) <= 0.02


def behind_a_converter(stall_rpm: float, **front: Any) -> Case:
    line = {"driveline": {"transmission": "converter", "stall_rpm": stall_rpm}}
    return building.case(building.vehicle({**building.TRUCK, **line}, front=WIDE | front))


def test_a_converter_that_lets_the_engine_flare_wants_more_volume_and_the_larger_pump() -> None:
    flares = [behind_a_converter(stall_rpm) for stall_rpm in (1500, 1900, 2300)]
    needed = [least_volume_cc(case, 1.2) for case in flares]
    assert rises(needed)
    standard, larger = building.pump().capacity_cc, building.larger_pump().capacity_cc
    assert least_volume_cc(truck(), 1.2) < standard < needed[-1] < larger


def test_a_faster_idle_leaves_less_shot_in_an_early_phase_and_a_later_phase_gives_it_back() -> None:
    cars = [truck(engine={"idle_rpm": idle_rpm}) for idle_rpm in (650, 850, 1050)]
    mounts = [option.label for option in cars[0].options[SLOTS["front.lobe"]]]
    late = mounts.index("lobe-high at 8 deg")
    early_left, late_left = ([_lift_left(case, place) for case in cars] for place in (0, late))
    assert rises(early_left[::-1])
    assert all(late > early for late, early in zip(late_left, early_left, strict=True))
    volumes = [[float(shots(case, lobe=place).volume_cc[0]) for case in cars] for place in (0, late)]
    assert volumes[0][0] > volumes[0][-1] and volumes[1][-1] > volumes[0][-1]


def _lift_left(case: Case, place: int) -> float:
    listed = {slot: options[:1] for slot, options in case.options.items()}
    listed[SLOTS["front.lobe"]] = (case.options[SLOTS["front.lobe"]][place],)
    lobes: Lobes = case.columns("front", listed).lobe
    return float(lobes.lift_left_percent.ravel()[0])


@pytest.mark.parametrize("stall_rpm", [None, 1900])
def test_the_larger_pump_gives_a_longer_shot_and_wants_no_larger_nozzle(stall_rpm: float | None) -> None:
    large = WIDE | {"pump": "pump-large", "lobe": "lobe-long", "phase_deg": 4}
    line = {"driveline": {"transmission": "converter", "stall_rpm": stall_rpm}} if stall_rpm else {}
    standard, larger = (
        building.case(building.vehicle({**building.TRUCK, **line}, front=front)) for front in (WIDE, large)
    )
    sizes = [0.7, 0.9, 1.1]
    assert np.all(shots(larger, sizes).ends_ms > shots(standard, sizes).ends_ms)
    coarse = np.arange(0.4, 1.601, 0.01)
    assert smallest_mm(larger, coarse) <= smallest_mm(standard, coarse)


def test_a_steeper_lobe_builds_pressure_sooner() -> None:
    stock = building.catalog(lobes=[
        building.lobe(f"lobe-{nose:g}", 4.0, nose=nose, phases_deg=(0.0,)) for nose in (1.2, 1.8, 2.6)
    ])  # fmt: skip
    bands = [_band(building.case(building.vehicle(front={"lobe": f"lobe-{n:g}"}), stock)) for n in (1.2, 1.8, 2.6)]
    assert rises([float(np.interp(30.0, band.time_ms, band.delivered_cc_s)) for band in bands])
    assert rises([float(band.delivered_cc_s[band.time_ms <= 60].sum()) for band in bands])


def _band(case: Case) -> Band:
    return band_of(case, "front", case.as_fitted)


def test_a_larger_nozzle_gives_a_shorter_and_harder_shot() -> None:
    found = shots(truck(), [0.6, 0.7, 0.8, 0.9, 1.0])
    assert rises(list(found.ends_ms[::-1])) and rises(list(found.peak_cc_s))
    assert np.allclose(found.volume_cc, found.volume_cc[0], rtol=0.02), "the volume is the pump's"


@pytest.mark.parametrize("rated_flow_m3_min", [17, 21, 25])
def test_aiming_the_nozzle_gains_no_more_than_two_sizes(rated_flow_m3_min: float) -> None:
    """The trade says less than one. A pull that comes within 50 ms hangs on what misses the walls, an eighth of
    the shot, and the share that aiming adds to that is assumed."""
    case = truck(carburettor={"rated_flow_m3_min": rated_flow_m3_min})
    gain = smallest_mm(case) - smallest_mm(case, style="aimed")
    shipped = sorted({part.diameter_mm for part in load_catalog(shipped_catalog_dir()).nozzles.values()})
    assert 0 <= gain <= 2 * max(np.diff(shipped)), "aimed against straight: a small gain and no more"


def last_air_kg_s(case: Case) -> float:
    event = case.circuits["front"].event
    return float(event.air_kg[-1] * event.drawn_per_s[-1])


def test_higher_up_there_is_less_air_and_a_smaller_nozzle_will_do() -> None:
    heights = (0, 1000, 2000)
    assert rises(over(smallest_mm, "engine", "altitude_m", heights)[::-1])
    assert rises(over(last_air_kg_s, "engine", "altitude_m", heights)[::-1])
