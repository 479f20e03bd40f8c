"""What the idle and main circuits give by themselves while the throttle opens.

    idle = idle_0 sqrt(depression / depression_0)            idle and transfer flow fade with the manifold depression
    signal = gain (m_air / CA_max)^2 / (2 rho_air)           booster depression
    main_steady = m_air / AFR_power sqrt(1 - signal_0/signal), 0 below signal_0 = rho_fuel g lip
    d main/dt = (main_steady - main)/tau,  tau = tau_ref sqrt(signal_ref/signal)

The lag is a column of fuel being accelerated, so it is longer where the depression is weak. The depression is that of
the air through the carburettor, the spike that fills the manifold included. The flow is that for the air the cylinders
draw: what the filling air takes along fills the manifold, too. Jets chosen for another air density run rich or lean as
the square root of the ratio. All of it is worked out per vehicle; only the lag carries the demand factor f.
"""

import math
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.physics.atmosphere import GRAVITY_M_S2

SIGNAL_REFERENCE_PA = 2000.0


@dataclass(frozen=True)
class MainFlow:
    """Main flow of one pair of barrels over an event, arrays of shape (times,): settled flow [kg/s], lag [s] for f = 1,
    booster depression [Pa]; and the flow before the tip-in [kg/s]."""

    steady_kg_s: Array
    lag_s: Array
    signal_pa: Array
    start_kg_s: float

    def lagged(self, time_s: Array, factor: Array) -> Array:
        """Flow [kg/s] behind its lag, exact for values held over each step; shape (times, k) for factors (k,)."""
        out = np.empty((len(time_s), len(factor)))
        out[0] = self.start_kg_s
        interval = np.diff(time_s)
        lag = 0.5 * (self.lag_s[:-1] + self.lag_s[1:])
        aim = 0.5 * (self.steady_kg_s[:-1] + self.steady_kg_s[1:])
        for step in range(len(interval)):
            keep = np.exp(-interval[step] / (lag[step] * factor))
            out[step + 1] = aim[step] + (out[step] - aim[step]) * keep
        return out


@dataclass(frozen=True)
class MainCircuit:
    """The main circuit of one pair of barrels: effective area wide open [m2], density of the air it is jetted for
    [kg/m3], gain, lip [m], lag [s] at 2 kPa."""

    area_max_m2: float
    jetted_density_kg_m3: float
    gain: float
    lip_m: float
    lag_s: float
    power_air_fuel_ratio: float

    def flow(
        self,
        throttle_kg_s: Array,
        cylinder_kg_s: Array,
        air_density_kg_m3: float,
        fuel_density_kg_m3: float,
        start_most_kg_s: float,
    ) -> MainFlow:
        """Main flow over an event: air through the pair and air its share of the cylinders draws [kg/s]; before the
        event no more than start_most_kg_s."""
        signal = self.gain * (throttle_kg_s / self.area_max_m2) ** 2 / (2.0 * air_density_kg_m3)
        needed = fuel_density_kg_m3 * GRAVITY_M_S2 * self.lip_m
        share = np.sqrt(np.clip(1.0 - needed / np.maximum(signal, 1e-9), 0.0, None))
        thin_air = math.sqrt(self.jetted_density_kg_m3 / air_density_kg_m3)
        steady = cylinder_kg_s / self.power_air_fuel_ratio * share * thin_air
        lag = self.lag_s * np.sqrt(SIGNAL_REFERENCE_PA / np.maximum(signal, 1.0))
        return MainFlow(steady, lag, signal, min(float(steady[0]), start_most_kg_s))


def idle_flow(idle_start_kg_s: float, depression_pa: Array) -> Array:
    """Idle and transfer flow [kg/s] as the depression below ambient [Pa] fades from its first value; 0 without any."""
    if depression_pa[0] <= 0.0:
        return np.zeros_like(depression_pa)
    return np.asarray(idle_start_kg_s * np.sqrt(np.clip(depression_pa / depression_pa[0], 0.0, None)))
