"""Every figure of the model that an owner cannot measure, with its range and its basis.

One place to change a default or add one. A vehicle file may overrule any of them in its table `assumed`.
"""

from dataclasses import dataclass, field, replace
from typing import Any

from configurator.basis import ASSUMED, COMMON_PRACTICE


def _figure(default: float, unit: str, low: float, high: float, basis: str, says: str) -> Any:
    return field(
        default=default,
        metadata={"unit": unit, "low": low, "high": high, "basis": basis, "says": says},
    )


@dataclass(frozen=True)
class Assumptions:
    """The model's assumed figures; field metadata holds unit, low, high, basis, says."""

    screw_coefficient: float = _figure(
        0.70, "", 0.60, 0.80, ASSUMED, "discharge coefficient of the feed screw's passage"
    )
    nozzle_height_mm: float = _figure(30.0, "mm", 15.0, 50.0, ASSUMED, "height of the nozzle tip above the pump")
    tip_depression_share: float = _figure(
        0.5, "", 0.0, 1.0, ASSUMED, "share of the throat's depression that acts at the nozzle tip"
    )
    closed_angle_deg: float = _figure(8.0, "deg", 5.0, 12.0, ASSUMED, "plate angle at the closed stop")
    shaft_to_bore: float = _figure(0.15, "", 0.10, 0.20, ASSUMED, "throttle shaft over bore diameter")
    plate_over_barrel: float = _figure(
        1.5, "", 1.2, 2.0, ASSUMED, "effective area of the open plate over that of the whole barrel"
    )
    idle_phi: float = _figure(1.10, "phi", 1.00, 1.25, COMMON_PRACTICE, "equivalence ratio of a set idle")
    cruise_phi: float = _figure(1.00, "phi", 0.95, 1.05, ASSUMED, "equivalence ratio of a light cruise")
    power_phi: float = _figure(
        1.15, "phi", 1.08, 1.24, COMMON_PRACTICE, "equivalence ratio the main circuit is jetted for at full opening"
    )
    booster_gain: float = _figure(4.0, "", 2.5, 6.0, ASSUMED, "booster depression over throat depression")
    lip_mm: float = _figure(12.0, "mm", 6.0, 20.0, ASSUMED, "rise from float level to the main nozzle's lip")
    main_lag_s: float = _figure(
        0.12, "s", 0.06, 0.25, ASSUMED, "lag of the main circuit at 2 kPa of booster depression"
    )
    film_time_factor: float = _figure(1.3, "", 1.0, 1.8, ASSUMED, "wall film's time constant over the regression's")
    film_time_per_m: float = _figure(
        1.0, "1/m", 0.0, 3.0, ASSUMED, "growth of the film's time constant per metre beyond 0.25 m to the valves"
    )
    film_share_per_m: float = _figure(
        0.3, "1/m", 0.0, 0.8, ASSUMED, "growth of the share that lands on the walls per metre beyond 0.25 m"
    )
    film_time_per_10_k: float = _figure(
        0.10, "1/10 K", 0.0, 0.20, ASSUMED, "growth of the film's time constant per 10 K of air colder than 15 deg C"
    )
    film_share_per_10_k: float = _figure(
        0.02, "1/10 K", 0.0, 0.04, ASSUMED, "growth of the share that lands on the walls per 10 K colder"
    )
    shot_film_share: float = _figure(
        0.88, "", 0.80, 0.93, ASSUMED, "share of a straight nozzle's jet that lands on the walls"
    )
    aimed_gain: float = _figure(
        0.015, "", 0.0, 0.04, ASSUMED, "what aiming the nozzle at the booster takes off that share"
    )
    work_per_air_mj_kg: float = _figure(0.94, "MJ/kg", 0.80, 1.05, ASSUMED, "indicated work per mass of air drawn")

    pull_lag_s: float = _figure(0.1, "s", 0.05, 0.2, ASSUMED, "lag of what stands between piston and seat")
    most_rpm: float = _figure(5500.0, "rev/min", 4500.0, 7000.0, ASSUMED, "speed at which the driver lifts")

    @property
    def of_tip_in(self) -> "Assumptions":
        """The same as a tip-in reads them, equal for equal tip-ins: what it does not read is as by default."""
        return replace(self, **{name: getattr(Assumptions, name) for name in UNREAD_BY_TIP_IN})


UNREAD_BY_TIP_IN = (
    "screw_coefficient", "nozzle_height_mm", "tip_depression_share", "shot_film_share", "aimed_gain", "pull_lag_s",
    "idle_phi", "cruise_phi", "work_per_air_mj_kg", "most_rpm",
)  # fmt: skip
"""Figures of the shot, and those that come to a tip-in by its engine, its driveline and its opening."""
