"""What may sit in a slot as columns of figures.

A column is a handful of arrays of shape (n,), one entry an option; `along` turns it onto an axis of its own, so that
rules over several slots broadcast to a table.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Self

import numpy as np

from configurator.arrays import Array, Indices, Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.limits import Limits
from configurator.catalogue.parts import FeedScrewFigures, LobeFigures, PumpFigures
from configurator.physics.lateness import Regions
from configurator.physics.lobe import front_loaded_lift, measured_lift
from configurator.physics.pull import FeltPulls


@dataclass(frozen=True)
class OptionColumn:
    """Arrays of one slot's options."""

    def along(self, axis: int, dimensions: int) -> Self:
        """The same column on one axis of a table with so many dimensions."""
        shape = [1] * dimensions
        shape[axis] = -1
        return type(self)(**{item.name: getattr(self, item.name).reshape(shape) for item in fields(self)})

    def only(self, axis: int, places: Indices) -> Self:
        """Some options of a column that lies along an axis of a table."""
        cut = (slice(None),) * axis + (places,)
        return type(self)(**{item.name: getattr(self, item.name)[cut] for item in fields(self)})


@dataclass(frozen=True)
class Nozzles(OptionColumn):
    """diameter_mm is the one measured where there is one; stamped_mm is nan where nothing is stamped."""

    diameter_mm: Array
    stamped_mm: Array
    length_mm: Array
    orifices: Array
    aimed: Array
    redrilled: Array
    measured: Array

    @property
    def area_m2(self) -> Array:
        return np.asarray(self.orifices * (np.pi / 4.0) * (self.diameter_mm * 1e-3) ** 2)

    @property
    def as_two_mm(self) -> Array:
        """Diameter of two equal orifices with the same area: the trade's figures are for two."""
        return np.asarray(self.diameter_mm * np.sqrt(self.orifices / 2.0))


@dataclass(frozen=True)
class FeedScrews(OptionColumn):
    passage_area_mm2: Array


@dataclass(frozen=True)
class Pumps(OptionColumn):
    capacity_cc: Array
    diaphragm_area_mm2: Array
    safe_stroke_mm: Array
    spring_preload_n: Array
    spring_rate_n_per_mm: Array
    lever: Array
    lever_ratio: Array
    depth_below_bowl_mm: Array
    changed: Array

    def good_to_mm(self, capacity_cc: float, its_mm: float) -> Array:
        """Two orifices up to which each holds enough, where a pump of a capacity does up to its own: fuel leaves by
        their area, so that a shot lasts as long."""
        return np.asarray(its_mm * np.sqrt(self.capacity_cc / capacity_cc))


@dataclass(frozen=True)
class Lobes(OptionColumn):
    """A lobe in one of its phases; phase_off_deg is how far that is from a phase it is drilled for."""

    total_lift_mm: Array
    lever: Array
    phase_deg: Array
    phase_off_deg: Array
    phase_count: Array
    middle_phase_deg: Array
    lift_left_percent: Array
    changed: Array


@dataclass(frozen=True)
class Spacers(OptionColumn):
    thickness_mm: Array
    bonnet_mm: Array


@dataclass(frozen=True)
class PadReliefs(OptionColumn):
    relief_mm: Array


@dataclass(frozen=True)
class JudgedShots(FeltPulls):
    """What combinations deliver and how it is felt, arrays over (nozzle, feed screw, pump, lobe), as FeltPulls says.

    regions : the engines that each is right for, where they were asked for. sure_percent : share of what is believed of
    the engine that each is right for, nan where nothing is.
    """

    volume_cc: Array
    ends_ms: Array
    peak_cc_s: Array
    sure_percent: Array
    regions: Regions | None = None

    @property
    def pumps(self) -> Mask:
        """Whether lobe and lever go together."""
        return np.isfinite(self.delay_ms)

    @property
    def late_for_want_of_fuel(self) -> Mask:
        """Whether a late pull is late for want of fuel, and not drowned in it."""
        return np.asarray(2.0 * self.lean_delay_ms >= self.delay_ms)

    @property
    def figures(self) -> dict[str, Array]:
        """All but the regions, by name."""
        return {name: value for name, value in vars(self).items() if name != "regions"}

    def beyond(self, limits: Limits, unfelt: float = 1.0) -> Array:
        """Delay, deepest sag and smoke beyond so much of what goes unfelt of each, in parts of that, added up."""
        sag = np.maximum(self.lean_sag_percent, self.rich_sag_percent)
        most = (limits.delay_most_ms, limits.sag_most_percent, limits.smoke_most_ms)
        parts = [felt / limit - unfelt for felt, limit in zip((self.delay_ms, sag, self.smoke_ms), most, strict=True)]
        return np.asarray(np.sum(np.maximum(parts, 0.0), axis=0))

    def at(self, index: tuple[int | slice | Indices | None, ...]) -> "JudgedShots":
        """Some of the combinations, or one of them as arrays of no dimension."""
        regions = Regions(self.regions.bits[index]) if self.regions else None
        return JudgedShots(**{name: np.asarray(value[index]) for name, value in self.figures.items()}, regions=regions)


@dataclass(frozen=True)
class Mount:
    """A lobe in a phase."""

    lobe: LobeFigures
    phase_deg: float

    def lift_mm(self, throttle_deg: Array) -> Array:
        """Lift [mm] at throttle angles from the closed stop [deg]."""
        angle = np.asarray(throttle_deg, dtype=float) - self.phase_deg
        if self.lobe.table:
            table = np.array(self.lobe.table)
            return measured_lift(angle, table[:, 0], table[:, 1])
        total, duration, nose = (np.array(x) for x in (self.lobe.total_lift_mm, self.lobe.duration_deg, self.lobe.nose))
        return front_loaded_lift(angle, total, duration, nose)


def nozzle_column(nozzles: Sequence[FittedNozzle]) -> Nozzles:
    def column(read: Callable[[FittedNozzle], float | None]) -> Array:
        return np.array([read(nozzle) for nozzle in nozzles], dtype=float)

    return Nozzles(
        diameter_mm=column(lambda n: n.diameter_mm),
        stamped_mm=column(lambda n: n.stamped_diameter_mm),
        length_mm=column(lambda n: n.length_mm),
        orifices=column(lambda n: n.orifices),
        aimed=column(lambda n: n.style == "aimed"),
        redrilled=column(lambda n: n.redrilled),
        measured=column(lambda n: n.measured),
    )


def feed_screw_column(screws: Sequence[FeedScrewFigures]) -> FeedScrews:
    return FeedScrews(np.array([screw.passage_area_mm2 for screw in screws]))


def pump_column(pumps: Sequence[PumpFigures], changed: Sequence[bool]) -> Pumps:
    own = {
        item.name: np.array([getattr(pump, item.name) for pump in pumps])
        for item in fields(Pumps)
        if item.name != "changed"
    }
    return Pumps(**own, changed=np.array(changed, dtype=float))


def lobe_column(mounts: Sequence[Mount], changed: Sequence[bool], idle_deg: float) -> Lobes:
    """idle_deg: throttle opening at idle, from the closed stop; what is lifted there is spent."""
    phases = [np.array(mount.lobe.phases_deg) for mount in mounts]
    chosen = np.array([mount.phase_deg for mount in mounts])
    total = np.array([mount.lobe.total_lift_mm for mount in mounts])
    spent = np.array([float(mount.lift_mm(np.array(idle_deg))) for mount in mounts])
    return Lobes(
        total_lift_mm=total,
        lever=np.array([mount.lobe.lever for mount in mounts]),
        phase_deg=chosen,
        phase_off_deg=np.array([np.abs(own - phase).min() for own, phase in zip(phases, chosen, strict=True)]),
        phase_count=np.array([len(own) for own in phases], dtype=float),
        middle_phase_deg=np.array([0.5 * (own[0] + own[-1]) for own in phases]),
        lift_left_percent=100.0 * (total - spent) / total,
        changed=np.array(changed, dtype=float),
    )
