"""What the idle and main circuits give by themselves while the throttle opens.

    idle = idle_0 sqrt(depression / depression_0)            idle and transfer flow fade with the manifold depression
    signal = gain (m_air / CA_max)^2 / (2 rho_air)           booster depression
    main_steady = m_air phi_power / AFR_stoich sqrt(1 - signal_0/signal), 0 below signal_0 = rho_fuel g lip
    d main/dt = (main_steady - main)/tau,  tau = tau_ref sqrt(signal_ref/signal)

The lag is a column of fuel being accelerated, so it is longer where the depression is weak. m_air is the air through
the carburettor, the spike that fills the manifold included. The mixture that the main circuit is jetted for is an
equivalence ratio, so that any fuel will do. Jets chosen for another air density run rich or lean as the square root of
the ratio. All of it is worked out per vehicle; how late the circuit comes in one engine, l, multiplies the lag, and its
root the lip.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from configurator.arrays import Array
from configurator.physics.atmosphere import GRAVITY_M_S2
from configurator.physics.relaxation import relaxed, step_mean

SIGNAL_REFERENCE_PA = 2000.0


@dataclass(frozen=True)
class MainFlow:
    """Main flow of one pair of barrels over an event, arrays of shape (times,): flow without a lip [kg/s], booster
    depression [Pa], lag [s]; the depression that the lip takes [Pa], and the flow before the tip-in [kg/s]."""

    full_kg_s: Array
    signal_pa: Array
    lag_s: Array
    lip_pa: float
    start_kg_s: float

    def steady(self, late: Array) -> Array:
        """Settled flow [kg/s], shape (times, k), for main circuits so late, (k,)."""
        lip = self.lip_pa * np.sqrt(late) / np.maximum(self.signal_pa, 1e-9)[:, None]
        return np.asarray(self.full_kg_s[:, None] * np.sqrt(np.clip(1.0 - lip, 0.0, None)))

    def lagged(self, time_s: Array, late: Array) -> Array:
        """Flow [kg/s] behind its lag, exact for values held over each step; shape (times, k)."""
        stays = np.exp(-np.diff(time_s)[:, None] / (step_mean(self.lag_s)[:, None] * late))
        return relaxed(stays, step_mean(self.steady(late)), np.full(len(late), self.start_kg_s))


@dataclass(frozen=True)
class MainCircuit:
    """The main circuit of one pair of barrels: effective area wide open [m2], density of the air it is jetted for
    [kg/m3], gain, lip [m], lag [s] at 2 kPa, air to fuel by mass that it is jetted for."""

    area_max_m2: float
    jetted_density_kg_m3: float
    gain: float
    lip_m: float
    lag_s: float
    power_air_fuel_ratio: float

    def flow(
        self, air_kg_s: Array, air_density_kg_m3: float, fuel_density_kg_m3: float, start_most_kg_s: float
    ) -> MainFlow:
        """Main flow over an event for the air through the pair [kg/s]; before it no more than start_most_kg_s."""
        signal = self.gain * (air_kg_s / self.area_max_m2) ** 2 / (2.0 * air_density_kg_m3)
        needed = fuel_density_kg_m3 * GRAVITY_M_S2 * self.lip_m
        thin_air = math.sqrt(self.jetted_density_kg_m3 / air_density_kg_m3)
        full = air_kg_s / self.power_air_fuel_ratio * thin_air
        lag = self.lag_s * np.sqrt(SIGNAL_REFERENCE_PA / np.maximum(signal, 1.0))
        flow = MainFlow(full, signal, lag, needed, start_most_kg_s)
        return replace(flow, start_kg_s=min(float(flow.steady(np.ones(1))[0, 0]), start_most_kg_s))


def idle_flow(idle_start_kg_s: float, depression_pa: Array) -> Array:
    """Idle and transfer flow [kg/s] as the depression below ambient [Pa] fades from its first value; 0 without any."""
    if depression_pa[0] <= 0.0:
        return np.zeros_like(depression_pa)
    return np.asarray(idle_start_kg_s * np.sqrt(np.clip(depression_pa / depression_pa[0], 0.0, None)))
