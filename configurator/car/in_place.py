"""What is fitted, as its owner describes it: parts by their code in the catalogue, or by what was measured on them."""

from typing import Annotated, Any, Self

from pydantic import Discriminator, Tag, field_validator, model_validator

from configurator.basis import ASSUMED, COMMON_PRACTICE
from configurator.car.standard import STANDARD_PUMP, figures_of_capacity
from configurator.catalogue.parts import (
    DEFAULT_ORIFICE_LENGTH_MM,
    DEFAULT_ORIFICES,
    ORIFICE_SOURCE,
    FeedScrewFigures,
    LobeFigures,
    NozzleStyle,
    PumpFigures,
    check_orifice_length,
)
from configurator.files.declared import Code, DiameterMm, Flag, Number, Numbers, Record, Whole, figure


class NozzleInPlace(Record):
    """A nozzle without a code, by its orifice."""

    diameter: DiameterMm = figure("orifice diameter: mm, or with its unit", "mm", gt=0.2, lt=3.0)
    style: NozzleStyle = figure("straight or aimed")
    orifices: Whole = figure("number of equal orifices", basis=COMMON_PRACTICE, default=DEFAULT_ORIFICES, ge=1, le=4)
    length_mm: Number = figure(
        "length of the orifice",
        "mm",
        basis=ASSUMED,
        source=ORIFICE_SOURCE,
        default=DEFAULT_ORIFICE_LENGTH_MM,
        gt=0.3,
        lt=30,
    )
    redrilled: Flag = figure("whether it was drilled larger", default=False)
    measured: Flag = figure("whether the diameter was measured, not taken from the drill or the stamp", default=False)

    @model_validator(mode="after")
    def _orifice_is_long(self) -> Self:
        check_orifice_length(self.length_mm, self.diameter)
        return self


class PumpInPlace(PumpFigures):
    """A pump without a code; of one whose capacity alone is known, all else is as of its class."""

    @model_validator(mode="before")
    @classmethod
    def _else_as_its_class(cls, row: Any) -> Any:
        if not isinstance(row, dict) or not set(row) <= {*_TOLD_OUTSIDE, *_CAPACITIES} or not set(row) & {*_CAPACITIES}:
            return row
        try:
            ten_strokes_cc = float(row.get("capacity_ten_strokes_cc") or 10.0 * float(row["capacity_cc"]))
        except (TypeError, ValueError, KeyError):
            ten_strokes_cc = STANDARD_PUMP.capacity_ten_strokes_cc  # its own field will say what is wrong with it
        return figures_of_capacity(ten_strokes_cc) | row


_CAPACITIES = ("capacity_cc", "capacity_ten_strokes_cc")
_TOLD_OUTSIDE = ("lever", "lever_ratio", "depth_below_bowl_mm")
"""What can be seen of a pump without taking it apart."""
AS_THE_PUMP = ""
"""The lever of a lobe of which none is said: it works the pump that is in."""


class LobeInPlace(LobeFigures):
    """A lobe without a code; it works the pump that is in, and its readings were taken as it is mounted."""

    lever: Code = figure(
        "kind of pump lever it is made for, short or long; by default that of the pump that is in", default=AS_THE_PUMP
    )
    phases_deg: Numbers = figure(
        "mounting phases, one to three, increasing; by default it stays as it is mounted", "deg", default=(0.0,),
        min_length=1, max_length=3,
    )  # fmt: skip


def _code_or_table(value: Any) -> str:
    return "(table)" if isinstance(value, dict | Record) else "(code)"


def _without_code(value: Any) -> Any:
    if isinstance(value, dict) and "code" in value:
        raise ValueError("a code and measured figures together; expected the code alone, or figures without a code")
    return value


CodeOr = Discriminator(_code_or_table)
ByCode = Annotated[Code, Tag("(code)")]


class CircuitInPlace(Record):
    """One pump circuit as it stands."""

    nozzle: Annotated[ByCode | Annotated[NozzleInPlace, Tag("(table)")], CodeOr] = figure(
        "code of the nozzle, or its measured figures"
    )
    nozzle_measured: DiameterMm | None = figure(
        "orifice diameter measured on a nozzle named by code", "mm", default=None, gt=0.2, lt=3.0
    )
    feed_screw: Annotated[ByCode | Annotated[FeedScrewFigures, Tag("(table)")], CodeOr] = figure(
        "code of the feed screw, plain or free-flow, or its figures"
    )
    pump: Annotated[ByCode | Annotated[PumpInPlace, Tag("(table)")], CodeOr] = figure(
        "code of the pump, standard or large, or its figures; its capacity alone will do"
    )
    lobe: Annotated[ByCode | Annotated[LobeInPlace, Tag("(table)")], CodeOr] = figure(
        "code of the lobe, standard or large, or its figures"
    )
    phase_deg: Number | None = figure(
        "mounting phase in use; need not be said of a lobe with only one", "deg", default=None, ge=0, lt=60
    )
    slack_mm: Number | None = figure("play of the lever at closed throttle, measured", "mm", default=None, ge=0, le=10)
    preload_mm: Number | None = figure(
        "diaphragm travel held at closed throttle, measured", "mm", default=None, ge=0, le=10
    )
    overtravel_mm: Number | None = figure("travel left at full opening, measured", "mm", default=None, ge=0, le=15)

    _alone = field_validator("nozzle", "feed_screw", "pump", "lobe", mode="before")(_without_code)

    @model_validator(mode="after")
    def _one_measurement(self) -> Self:
        if self.nozzle_measured is not None and not isinstance(self.nozzle, str):
            raise ValueError(
                "nozzle_measured with a nozzle that has no code; expected measured = true in the nozzle's own table"
            )
        if self.slack_mm and self.preload_mm:
            raise ValueError(
                "slack_mm and preload_mm are both above 0; expected one at most, for each rules out the other"
            )
        return self


class PartsInPlace(Record):
    """What is fitted: one circuit or two, a spacer below the carburettor, and the pad as it was left."""

    spacer: Code | None = figure("code of the spacer, if there is one", default=None)
    pad_relieved_mm: Number = figure(
        "taken off the manifold pad since its clearance was measured", "mm", default=0.0, ge=0, le=50
    )
    front: CircuitInPlace = figure("the front circuit, or the only one")
    rear: CircuitInPlace | None = figure("the rear circuit, if there is one", default=None)
