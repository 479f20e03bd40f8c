"""A trial run as it is kept: the car with what was fitted, the conditions, and what was felt or measured.

The car is kept with measured figures in place of codes, so that a run can be judged again although the catalogue has
changed since; the codes stand beside it for people to read.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, field_validator

from configurator.basis import ASSUMED
from configurator.car.assumed import taken_of
from configurator.car.fitted import FittedCircuit, FittedNozzle
from configurator.car.vehicle import IDLE_PRESSURE_RANGE_KPA, FuelTable, Vehicle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.errors import BadInput, Fault
from configurator.files.declared import Flag, Number, Record, Time, Whole, figure
from configurator.judging.case import Case
from configurator.judging.feelings import Moment, symptom_felt, symptom_word
from configurator.physics.lateness import LATENESS_RANGE
from configurator.slots.columns import Mount
from configurator.slots.options import Choice, Stack
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

Strength = Literal["faint", "clear", "strong"]
CAR_FORMAT = 1
"""Raised when a key of a kept car changes its meaning or goes; what is kept in a later one is not guessed at."""


class Conditions(Record):
    """Air and engine on the day; what is None is as the vehicle file has it."""

    air_temperature_c: Number | None = figure("air at the carburettor", "deg C", default=None, ge=-40, le=60)
    altitude_m: Number | None = figure("height above the sea", "m", default=None, ge=-500, le=6000)
    air_pressure_kpa: Number | None = figure(
        "air pressure, not reduced to sea level", "kPa absolute", default=None, ge=45, le=110
    )
    fuel: str | None = figure("what was in the tank", default=None, min_length=1, max_length=80)
    warm: Flag = figure("whether the engine was warm: a cold one says nothing of the pump circuit", default=True)


def _as_in_the_book(said: object) -> object:
    return symptom_word(said) if isinstance(said, str) else said


class Felt(Record):
    """What the driver felt, in one of the words of symptoms, how strongly, and when if that was said."""

    word: Annotated[str, BeforeValidator(_as_in_the_book)] = figure(
        "one of the symptom words", min_length=1, max_length=40
    )
    strength: Strength = figure("faint, clear or strong", basis=ASSUMED, default="clear")
    moment: Moment | None = figure(
        "at-once, later (the shot is spent) or both; where it is not said, each is weighed", default=None
    )


class TraceMeasured(Record):
    """What a mixture trace gave: spells as the model defines them, corrected for the sensor's lag."""

    hole_ms: Number = figure("longest spell leaner than phi 0.80", "ms", ge=0, le=60_000)
    flood_ms: Number = figure("longest spell richer than phi 1.50", "ms", ge=0, le=60_000)
    lag_ms: Number = figure("sensor lag that was taken out", "ms", ge=0, le=5000)
    doubt_ms: Number = figure("standard error of both spells", "ms", ge=0, le=5000)


class TipInMeasured(Record):
    """One tip-in of a recording of the pull, as physics.pull_seen has it."""

    at_s: Number = figure("when it begins in the recording", "s", ge=0, le=3600)
    rise_ms: Number = figure("from the beginning to the pull, averaged over its rise", "ms", ge=0, le=10_000)
    rise_doubt_ms: Number = figure("standard error of that", "ms", gt=0, le=5000)
    sag_percent: Number = figure("deepest later fall of the pull", "% of its level", ge=0, le=1000)
    sag_doubt_percent: Number = figure("standard error of that", "%", gt=0, le=1000)
    sag_at_ms: Number = figure("when that is, from the beginning", "ms", ge=0, le=10_000)


class PullMeasured(Record):
    """What a recording of the pull gave."""

    tip_ins: list[TipInMeasured] = figure("every tip-in that could be told of", min_length=1, max_length=200)
    from_throttle: Flag = figure("whether they begin with the throttle, or where the pull first moves")
    smoothed_ms: Number = figure("standard deviation of what the pull was smoothed by", "ms", ge=1, le=1000)


class Trial(Record):
    """One run. number is None until the book has it; an undone run stays, marked."""

    number: Whole | None = figure("number in the book", default=None)
    at: Time = figure("when, UTC")
    vehicle: str = figure("name of the vehicle", min_length=1, max_length=200)
    car: dict[str, Any] = figure("the vehicle file as read, with measured figures in place of codes")
    car_format: Whole = figure("format of the car, raised when a key of it changes its meaning", default=1, ge=1)
    codes: dict[str, str] = figure("slot and what was fitted, for people")
    conditions: Conditions = figure("air and engine on the day", default=Conditions())
    felt: Felt | None = figure("what was felt", default=None)
    clean_after_ms: Number | None = figure(
        "time from tip-in to a clean pull, measured", "ms", default=None, ge=0, le=60_000
    )
    trace: TraceMeasured | None = figure("what a mixture trace gave", default=None)
    pull: PullMeasured | None = figure("what a recording of the pull gave", default=None)
    note: str = figure("anything else", default="", max_length=2000)
    undone: Flag = figure("taken back", default=False)

    @field_validator("at")
    @classmethod
    def _in_utc(cls, at: datetime) -> datetime:
        return in_utc(at)


def in_utc(at: datetime) -> datetime:
    """A time in UTC, which one without its zone is in already. Raises ValueError for one outside the calendar."""
    try:
        return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)
    except OverflowError:
        raise ValueError("outside the calendar") from None


def trial_of(
    case: Case,
    at: datetime,
    felt: Felt | None,
    conditions: Conditions,
    *,
    choice: Choice | None = None,
    clean_after_ms: float | str | None = None,
    trace: TraceMeasured | None = None,
    pull: PullMeasured | None = None,
    note: str = "",
) -> Trial:
    """The run of a case with a choice of parts, by default what is fitted. Raises BadInput for an
    unknown symptom, and for a run of which neither a feeling nor a measurement is known."""
    choice = choice or case.as_fitted
    if felt is None and trace is None and pull is None:
        raise BadInput([Fault("trial", "", "says neither what was felt nor what was measured", "one of the two")])
    if felt is not None:
        symptom_felt(felt.word, felt.moment)
    return Trial.model_validate({
        "at": at, "vehicle": case.vehicle.name, "car": measured_car(case, choice), "car_format": CAR_FORMAT,
        "conditions": conditions,
        "felt": felt, "trace": trace, "pull": pull,
        "codes": {str(slot): option.label for slot, option in choice.items()},
        "clean_after_ms": clean_after_ms, "note": note,
    })  # fmt: skip


def measured_car(case: Case, choice: Choice) -> dict[str, Any]:
    """The vehicle as a dictionary that Vehicle reads, every part of a choice by its figures; clearances as a spacer or
    a relieved pad leaves them."""
    car = case.vehicle.model_dump(mode="json", exclude_none=True)
    car["fitted"] = {circuit.name: _measured(_with_parts(circuit, choice)) for circuit in case.car.fitted.circuits}
    stack, relief_mm = choice[Slot(None, "spacer")].read(Stack), choice[Slot(None, "pad_relief")].read(float)
    car["manifold"] |= moved_clearances(car["manifold"], stack, relief_mm)
    return car


def moved_clearances(manifold: Mapping[str, Any], stack: Stack, relief_mm: float) -> dict[str, float]:
    """Those clearances of a manifold that were measured, as another spacer and a relieved pad leave them."""
    grows_mm = {
        "pad_clearance_mm": stack.thickness_mm + relief_mm, "rear_pad_clearance_mm": stack.thickness_mm + relief_mm,
        "bonnet_clearance_mm": -stack.bonnet_mm,
    }  # fmt: skip
    return {key: max(0.0, manifold[key] + grows) for key, grows in grows_mm.items() if manifold.get(key) is not None}


def _with_parts(circuit: FittedCircuit, choice: Choice) -> FittedCircuit:
    """The circuit with the parts of a choice; a linkage that a change disturbed is set again, its measures gone."""
    nozzle, screw, pump, lobe = (choice[Slot(circuit.name, slot)] for slot in CIRCUIT_SLOTS)
    mount = lobe.read(Mount)
    fitted = replace(
        circuit, nozzle=nozzle.read(FittedNozzle), feed_screw=screw.read(FeedScrewFigures),
        pump=pump.read(PumpFigures), lobe=mount.lobe, phase_deg=mount.phase_deg,
    )  # fmt: skip
    if pump.changed or lobe.changed:
        fitted = replace(fitted, slack_mm=None, preload_mm=None, overtravel_mm=None)
    return fitted


def car_of(trial: Trial) -> Vehicle:
    """The vehicle of a run, under the conditions of that run."""
    engine = trial.car["engine"] | {
        key: value for key, value in trial.conditions.model_dump(exclude={"fuel", "warm"}).items() if value is not None
    }
    car, at_home_m = trial.car | {"engine": engine}, trial.car["engine"].get("altitude_m")
    if trial.conditions.altitude_m is not None and at_home_m is not None:
        # Driven to another height it has the main jets that it has at home.
        car["carburettor"] = {"jetted_altitude_m": at_home_m} | car["carburettor"]
    return Vehicle.model_validate(_as_kept_now(car))


def _as_kept_now(car: dict[str, Any]) -> dict[str, Any]:
    """The car of a run that an earlier version kept: its one demand factor stands for both unknowns, its idle pressure
    is a key of the engine, and its power mixture an equivalence ratio. What lies beyond what is taken now comes as near
    as it may, so that no run is lost."""
    car, assumed = dict(car), dict(car.get("assumed", {}))
    factor = car.pop("demand_factor", None)
    if factor is not None:
        late = _within(factor, LATENESS_RANGE)
        car |= {"late_first_fuel": late, "late_main_circuit": late}
    idle_kpa, ratio = assumed.pop("idle_pressure_kpa", None), assumed.pop("power_air_fuel_ratio", None)
    if idle_kpa is not None:
        car["engine"] = car["engine"] | {"idle_pressure_kpa": _within(idle_kpa, IDLE_PRESSURE_RANGE_KPA)}
    if ratio is not None:
        stoichiometric = car.get("fuel", {}).get("stoichiometric_ratio", FuelTable().stoichiometric_ratio)
        assumed["power_phi"] = _within(stoichiometric / ratio, taken_of("power_phi"))
    return car | ({"assumed": assumed} if "assumed" in car else {})


def _within(value: float, ends: tuple[float, float]) -> float:
    return min(max(value, ends[0]), ends[1])


def _measured(circuit: FittedCircuit) -> dict[str, Any]:
    nozzle = circuit.nozzle
    measured: dict[str, Any] = {
        "nozzle": {
            "diameter": nozzle.diameter_mm, "style": nozzle.style, "orifices": nozzle.orifices,
            "length_mm": nozzle.length_mm, "redrilled": nozzle.redrilled, "measured": nozzle.measured,
        },
        "feed_screw": _figures(circuit.feed_screw, ("passage_area_mm2", "free_flow")),
        "pump": _figures(
            circuit.pump,
            ("capacity_cc", "diaphragm_area_mm2", "safe_stroke_mm", "spring_preload_n", "spring_rate_n_per_mm", "lever",
             "lever_ratio", "depth_below_bowl_mm"),
        ),
        "lobe": _figures(
            circuit.lobe, ("total_lift_mm", "duration_deg", "nose", "table", "lever", "phases_deg")
        ),
        "phase_deg": circuit.phase_deg,
    }  # fmt: skip
    for key in ("slack_mm", "preload_mm", "overtravel_mm"):
        value = getattr(circuit, key)
        if value is not None:
            measured[key] = value
    return measured


def _figures(part: Record, keys: tuple[str, ...]) -> dict[str, Any]:
    dumped = part.model_dump(mode="json", include=set(keys), exclude_none=True)
    return {key: value for key, value in dumped.items() if value != []}
