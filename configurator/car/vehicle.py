"""A vehicle as its owner describes it: engine, driveline, manifold, carburettor, and what is fitted.

Only what an owner can know is required. A part is named by its code in the catalogue, or described by what was measured
on it. Clearances are measured with everything in place as it stands, the fitted spacer included.
"""

from collections.abc import Mapping
from math import sqrt
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, PrivateAttr, ValidationError, field_validator, model_validator

from configurator.basis import ASSUMED, COMMON_PRACTICE, PUBLISHED
from configurator.car.assumed import unit_of_assumed
from configurator.car.in_place import PartsInPlace
from configurator.car.unknown import Place, with_left_out
from configurator.catalogue.parts import NozzleStyle
from configurator.errors import BadInput
from configurator.files.declared import (
    Flag,
    Number,
    Ratio,
    Record,
    WheelRadiusM,
    Whole,
    figure,
    in_unit,
)
from configurator.files.faults import FaultPlace, faults_of
from configurator.files.reading import read_toml
from configurator.physics.lateness import LATENESS_RANGE, Lateness
from configurator.units.driveline import ROLLING_SHARE
from configurator.units.quantities import MERCURY_INCH_PA

TWO_BARREL_DEPRESSION_IN_HG, FOUR_BARREL_DEPRESSION_IN_HG = 3.0, 1.5
MANIFOLD_TO_DISPLACEMENT = 0.8
IDLE_PRESSURE_KPA, IDLE_PRESSURE_RANGE_KPA = 38.0, (30.0, 70.0)
CRUISE_PRESSURE_RANGE_KPA = (20.0, 95.0)


class EngineTable(Record):
    """The engine, warm and in good order."""

    in_other_units = MappingProxyType(
        {"idle_vacuum_in_hg": ("idle_vacuum_kpa", "inHg"), "idle_vacuum_mm_hg": ("idle_vacuum_kpa", "mmHg")}
    )
    as_vacuum = MappingProxyType({"idle_pressure_kpa": "idle_vacuum_kpa"})
    displacement_cc: Number = figure("swept volume of all cylinders", "cc", gt=50, lt=30_000)
    idle_rpm: Number = figure("warm idle speed, as set", "rev/min", gt=200, lt=4000)
    volumetric_efficiency: Number = figure(
        "air drawn over swept volume, at full opening and low speed", basis=ASSUMED, default=0.82, gt=0.3, lt=1.2
    )
    altitude_m: Number = figure("height above the sea", "m", basis=ASSUMED, default=0.0, ge=-500, le=6000)
    air_temperature_c: Number | None = figure(
        "air at the carburettor; by default that of the altitude", "deg C",
        basis=PUBLISHED, source="ISO 2533", default=None, ge=-40, le=60,
    )  # fmt: skip
    air_pressure_kpa: Number | None = figure(
        "air pressure measured, not reduced to sea level; by default that of the altitude", "kPa absolute",
        basis=PUBLISHED, source="ISO 2533", default=None, ge=45, le=110,
    )  # fmt: skip
    inertia_kg_m2: Number = figure(
        "inertia of crankshaft, flywheel and clutch or converter", "kg m2", basis=ASSUMED, default=0.15, gt=0.005, lt=5
    )
    idle_pressure_kpa: Number | None = figure(
        f"manifold pressure at a warm idle; by default {IDLE_PRESSURE_KPA:g}", "kPa absolute",
        basis=ASSUMED, default=None, ge=IDLE_PRESSURE_RANGE_KPA[0], le=IDLE_PRESSURE_RANGE_KPA[1],
    )  # fmt: skip
    idle_vacuum_kpa: Number | None = figure(
        "the same as a vacuum gauge reads it, below the air", "kPa vacuum", default=None, gt=0, lt=101
    )
    induction: Literal["natural", "forced"] = figure(
        "how it gets its air: only natural can be judged, forced is refused", default="natural"
    )

    @field_validator("induction")
    @classmethod
    def _draws_its_own_air(cls, induction: str) -> str:
        if induction == "forced":
            raise ValueError(
                "the model knows engines that draw the air around them, and none that a blower or turbo feeds; "
                "expected natural, for an engine without one"
            )
        return induction

    @model_validator(mode="after")
    def _one_idle_pressure(self) -> Self:
        if self.idle_pressure_kpa is not None and self.idle_vacuum_kpa is not None:
            raise ValueError("idle_pressure_kpa and idle_vacuum_kpa together; expected one of them")
        return self


class DrivelineTable(Record):
    """What the engine drives, in the gear of the complaint."""

    transmission: Literal["manual", "converter", "free"] = figure(
        "manual: clutch engaged; converter: may flare to its stall speed; free: out of gear"
    )
    mass_kg: Number | None = figure("vehicle as it drives, laden; for manual", "kg", default=None, gt=50, lt=50_000)
    overall_ratio: Ratio | None = figure(
        "engine turns to one of the wheels: gear times final drive; for manual", default=None, gt=0.5, lt=100
    )
    wheel_radius_m: WheelRadiusM | None = figure(
        f"rolling radius of the driven wheels, or the tyre as printed ({ROLLING_SHARE:g} of its free radius); manual",
        "m", default=None, gt=0.1, lt=1.5,
    )  # fmt: skip
    stall_rpm: Number | None = figure("stall speed; for converter", "rev/min", default=None, gt=500, lt=7000)

    @model_validator(mode="after")
    def _figures_of_its_kind(self) -> Self:
        required = {"manual": ("mass_kg", "overall_ratio", "wheel_radius_m"), "converter": ("stall_rpm",), "free": ()}
        lacking = [key for key in required[self.transmission] if getattr(self, key) is None]
        if lacking:
            raise ValueError(f"{' and '.join(lacking)} missing; expected with transmission {self.transmission}")
        if self.stall_rpm is not None and self.transmission != "converter":
            raise ValueError(f"stall_rpm with transmission {self.transmission}; expected with a converter only")
        return self


class ManifoldTable(Record):
    """The intake manifold, and the room around the carburettor."""

    volume_cc: Number | None = figure(
        f"volume below the throttles up to the valves; by default {MANIFOLD_TO_DISPLACEMENT:g} of the displacement",
        "cc",
        basis=ASSUMED, default=None, gt=20, lt=50_000,
    )  # fmt: skip
    distance_to_valves_mm: Number = figure(
        "from carburettor to the intake valves", "mm", basis=ASSUMED, default=250.0, ge=20, le=2000
    )
    pad_clearance_mm: Number | None = figure(
        "from the bowl's underside to the manifold pad, a gauge between the two beside the front pump, not from the "
        "pump's body (docs/pictures/pad-clearance.svg)",
        "mm",
        default=None,
        ge=0,
        le=200,
    )
    rear_pad_clearance_mm: Number | None = figure("the same below the rear pump", "mm", default=None, ge=0, le=200)
    bonnet_clearance_mm: Number | None = figure(
        "from the top of the air cleaner to the closed bonnet, as it stands", "mm", default=None, ge=0, le=500
    )


class CarburettorTable(Record):
    """The carburettor, or one of several alike: how much air it passes, and how its barrels open."""

    in_other_units = MappingProxyType({"rated_flow_ft3_min": ("rated_flow_m3_min", "cfm")})
    count: Whole = figure(
        "how many alike, each with its share of engine and manifold; all else is said of one", default=1, ge=1, le=12
    )
    barrels: Whole = figure("2, or 4 with front and rear pairs")
    rear: Literal["linked", "vacuum"] = figure(
        "what opens the rear pair: only a linkage can be judged, vacuum is refused", default="linked"
    )
    rated_flow_m3_min: Number = figure("rated air flow", "m3/min", gt=0.5, lt=60)
    test_depression_in_hg: Number | None = figure(
        "depression of the flow rating; by default 3.0 with two barrels, 1.5 with four", "inHg",
        basis=COMMON_PRACTICE, default=None, gt=0.1, lt=20,
    )  # fmt: skip
    nozzle_styles: tuple[NozzleStyle, ...] = figure(
        "styles of nozzle its body takes", basis=ASSUMED, default=("straight", "aimed"), min_length=1, max_length=2
    )
    rear_opens_at_deg: Number | None = figure(
        "front throttle angle at which the rear throttles start; by default 30 with four barrels", "deg",
        basis=ASSUMED, default=None, ge=0, lt=80,
    )  # fmt: skip
    jetted_altitude_m: Number | None = figure(
        "altitude its main jets were chosen for; by default the engine's", "m", default=None, ge=-500, le=6000
    )
    jets_redrilled: Flag = figure("whether a main or idle jet was ever drilled", default=False)

    @field_validator("barrels")
    @classmethod
    def _two_or_four(cls, barrels: int) -> int:
        if barrels not in (2, 4):
            raise ValueError(f"barrels is {barrels}; expected 2 or 4")
        return barrels

    @field_validator("rear")
    @classmethod
    def _opens_with_the_pedal(cls, rear: str) -> str:
        if rear == "vacuum":
            raise ValueError(
                "a rear pair that vacuum opens comes when the engine asks for its air, not with the pedal, and the "
                "model does not know when; expected linked, for a rear pair that the front one opens"
            )
        return rear

    @model_validator(mode="after")
    def _rear_only_of_four(self) -> Self:
        if self.barrels == 2 and self.rear_opens_at_deg is not None:
            raise ValueError("rear_opens_at_deg with barrels 2; expected with four barrels only")
        return self

    @property
    def rated_flow_m3_s(self) -> float:
        """Rated air flow [m3/s]."""
        return self.rated_flow_m3_min / 60

    @property
    def test_depression_pa(self) -> float:
        """Depression at which the flow is rated [Pa]."""
        usual = TWO_BARREL_DEPRESSION_IN_HG if self.barrels == 2 else FOUR_BARREL_DEPRESSION_IN_HG
        return (self.test_depression_in_hg or usual) * MERCURY_INCH_PA

    @property
    def rear_start_deg(self) -> float:
        """Front angle at which the rear throttles start [deg]."""
        return 30.0 if self.rear_opens_at_deg is None else self.rear_opens_at_deg


class FuelTable(Record):
    """What is in the tank."""

    name: str = figure("name", default="petrol", min_length=1, max_length=80)
    density_kg_m3: Number = figure("density", "kg/m3", basis=ASSUMED, default=740.0, gt=500, lt=1200)
    stoichiometric_ratio: Number = figure("air to fuel by mass, all burnt", basis=ASSUMED, default=14.6, gt=3, lt=20)
    viscosity_mpa_s: Number = figure("dynamic viscosity", "mPa s", basis=ASSUMED, default=0.45, gt=0.1, lt=5)


class TipInTable(Record):
    """The opening of the throttle to look into."""

    as_vacuum = MappingProxyType({"cruise_pressure_kpa": "cruise_vacuum_kpa"})
    start: Literal["idle", "cruise"] = figure("where it starts", default="idle")
    opening_time_s: Number = figure("time to open", "s", basis=ASSUMED, default=0.15, ge=0.02, le=1.0)
    opens_to: Number = figure("share of the throttle's travel", basis=ASSUMED, default=1.0, gt=0.1, le=1.0)
    cruise_rpm: Number = figure("engine speed of a cruise", "rev/min", basis=ASSUMED, default=1800.0, gt=500, lt=7000)
    cruise_pressure_kpa: Number = figure(
        "manifold pressure of a cruise", "kPa absolute",
        basis=ASSUMED, default=50.0, ge=CRUISE_PRESSURE_RANGE_KPA[0], le=CRUISE_PRESSURE_RANGE_KPA[1],
    )  # fmt: skip
    cruise_vacuum_kpa: Number | None = figure(
        "the same as a vacuum gauge reads it, below the air; counts before it", "kPa vacuum", default=None, gt=0, lt=101
    )


class Confirmed(Record):
    """Early faults that were looked for and mended before any part is changed."""

    float_level: Flag = figure("float level is set", default=False)
    idle_mixture: Flag = figure("idle mixture is set", default=False)
    idle_speed: Flag = figure("idle speed is set", default=False)


class Vehicle(Record):
    """One vehicle file."""

    gone: ClassVar[Mapping[str, str]] = {
        "demand_factor": "late_first_fuel and late_main_circuit took its place (how late the first fuel is, and "
        "the main circuit; 1 is as the model says)"
    }
    name: str = figure("what the workshop calls it", min_length=1, max_length=200)
    note: str = figure("its story", default="", max_length=5000)
    late_first_fuel: Number = figure(
        "how late this engine's first fuel is, times the model's", basis=ASSUMED, default=1.0,
        ge=LATENESS_RANGE[0], le=LATENESS_RANGE[1],
    )  # fmt: skip
    late_main_circuit: Number = figure(
        "how late its main circuit comes, times the model's", basis=ASSUMED, default=1.0,
        ge=LATENESS_RANGE[0], le=LATENESS_RANGE[1],
    )  # fmt: skip
    engine: EngineTable = figure("the engine")
    driveline: DrivelineTable = figure("the driveline")
    manifold: ManifoldTable = figure("the manifold", default=ManifoldTable())
    carburettor: CarburettorTable = figure("the carburettor")
    fitted: PartsInPlace = figure("what is fitted")
    fuel: FuelTable = figure("the fuel", default=FuelTable())
    tip_in: TipInTable = figure("the opening to look into", default=TipInTable())
    confirmed: Confirmed = figure("what was checked first", default=Confirmed())
    assumed: dict[Annotated[str, Field(max_length=80)], Number] = figure(
        "assumed figures of the model overruled, by name", default={}, max_length=100
    )
    _file: str = PrivateAttr(default="")
    _left_out: frozenset[Place] = PrivateAttr(default=frozenset())

    @property
    def engine_as_told(self) -> Lateness:
        """The engine as its file has it, before any run."""
        return Lateness(self.late_first_fuel, self.late_main_circuit)

    @field_validator("assumed", mode="before")
    @classmethod
    def _assumed_with_units(cls, given: Any) -> Any:
        if not isinstance(given, dict):
            return given
        return {name: in_unit(value, unit_of_assumed(name)) for name, value in given.items()}

    @model_validator(mode="after")
    def _agree(self) -> Self:
        if self.fitted.rear and self.carburettor.barrels != 4:
            raise ValueError("a rear circuit in [fitted.rear] with barrels 2; expected with four barrels only")
        stall = self.driveline.stall_rpm
        start = self.tip_in.cruise_rpm if self.tip_in.start == "cruise" else self.engine.idle_rpm
        if stall is not None and stall <= start:
            key = "tip_in.cruise_rpm" if self.tip_in.start == "cruise" else "engine.idle_rpm"
            raise ValueError(f"driveline.stall_rpm {stall:g} with {key} {start:g}; expected a stall speed above that")
        return self

    @property
    def file(self) -> str:
        """Path of the file it was read from; empty if it was made otherwise."""
        return self._file

    @property
    def left_out(self) -> frozenset[Place]:
        """Figures of its file that were left out, and taken as unknown.LEFT_OUT says: table and key."""
        return self._left_out

    @property
    def flow_per_litre(self) -> float:
        """Rated flow of all carburettors, brought to 1.5 inHg by the square root, over displacement [m3/min/l]."""
        four_barrel_pa = FOUR_BARREL_DEPRESSION_IN_HG * MERCURY_INCH_PA
        one = self.carburettor
        flow_m3_min = 60 * one.count * one.rated_flow_m3_s * sqrt(four_barrel_pa / one.test_depression_pa)
        return flow_m3_min / (self.engine.displacement_cc / 1000)

    @property
    def manifold_volume_m3(self) -> float:
        """Manifold volume as given, or by the displacement [m3]."""
        return (self.manifold.volume_cc or MANIFOLD_TO_DISPLACEMENT * self.engine.displacement_cc) * 1e-6


def load_vehicle(path: Path | str) -> Vehicle:
    """Read a vehicle file and check it by itself; raises BadInput with every fault, each with its table and key."""
    path = Path(path)
    return vehicle_of(read_toml(path), str(path))


def vehicle_of(tables: dict[str, Any], name: str) -> Vehicle:
    """The vehicle in the tables of a file; name is what messages call the file. Raises as load_vehicle."""
    filled, left_out = with_left_out(tables)
    try:
        vehicle = Vehicle.model_validate(filled)
    except ValidationError as error:
        raise BadInput(faults_of(error, Vehicle, name, place_in_toml)) from None
    vehicle._file = name
    vehicle._left_out = left_out
    return vehicle


def place_in_toml(loc: FaultPlace) -> str:
    """A path of keys as a person finds it in the file.

    >>> place_in_toml(("engine", "idle_rpm")), place_in_toml(("carburettor", "nozzle_styles", 1))
    ('[engine] idle_rpm', '[carburettor] nozzle_styles, value 2')
    """
    keys = [str(step) for step in loc if isinstance(step, str)]
    places = "".join(f", value {step + 1}" for step in loc if isinstance(step, int))
    if not keys:
        return ""
    tables = {
        name for name in Vehicle.model_fields if name not in ("name", "note", "late_first_fuel", "late_main_circuit")
    }
    if keys[0] not in tables:
        return ".".join(keys) + places
    depth = 2 if keys[0] == "fitted" and len(keys) > 2 else 1
    return f"[{'.'.join(keys[:depth])}] {'.'.join(keys[depth:])}".strip() + places
