"""Parts and what else a change costs: one model per family of the catalogue.

The figures that decide how a part works stand apart from its code, price and labour, because a part on a carburettor
may have no code: a redrilled nozzle, a lobe measured with a dial gauge.
"""

import re
from contextlib import suppress
from itertools import pairwise
from math import isclose
from typing import Any, Literal, Self

from pydantic import model_validator

from configurator.basis import ASSUMED, COMMON_PRACTICE
from configurator.errors import BadSize
from configurator.files.declared import (
    Code,
    Codes,
    DiameterMm,
    Flag,
    Number,
    Numbers,
    Pairs,
    Record,
    Whole,
    figure,
    increasing,
)
from configurator.units.quantities import read_quantity

NozzleStyle = Literal["straight", "aimed"]
Joint = Literal["nozzle_seat", "pump_cover", "carburettor_flange", "intake_manifold"]
LEAST_LENGTH_TO_DIAMETER, MOST_LENGTH_TO_DIAMETER = 1.5, 10.0
ORIFICE_SOURCE = "Lichtarowicz, Duggins & Markland, J. Mech. Eng. Sci. 7(2), 1965"
DEFAULT_ORIFICES, DEFAULT_ORIFICE_LENGTH_MM = 2, 3.0
LIKE_TABLE_END = 1e-6


class PartFigures(Record):
    """How a part works; its code is None where it has none."""

    code: Code | None = figure("code; lower case letters, digits, dots and hyphens", default=None)


class NozzleFigures(PartFigures):
    """A discharge nozzle: equal drilled orifices, one for each barrel of its pair."""

    diameter_mm: DiameterMm = figure("orifice diameter", "mm", gt=0.2, lt=3.0)
    orifices: Whole = figure("number of equal orifices", basis=COMMON_PRACTICE, default=DEFAULT_ORIFICES, ge=1, le=4)
    style: NozzleStyle = figure("straight: out into the barrel; aimed: at the booster")
    length_mm: Number = figure(
        "length of the orifice, 1.5 to 10 diameters", "mm",
        basis=ASSUMED, source=ORIFICE_SOURCE, default=DEFAULT_ORIFICE_LENGTH_MM, gt=0.3, lt=30.0,
    )  # fmt: skip

    @model_validator(mode="after")
    def _orifice_is_long(self) -> Self:
        check_orifice_length(self.length_mm, self.diameter_mm)
        return self


def check_orifice_length(length_mm: float, diameter_mm: float) -> None:
    """Raise ValueError unless the orifice is of a length for which its discharge coefficient is known."""
    ratio = length_mm / diameter_mm
    if not LEAST_LENGTH_TO_DIAMETER <= ratio <= MOST_LENGTH_TO_DIAMETER:
        raise ValueError(
            f"length_mm {length_mm:g} is {ratio:.1f} times the orifice diameter {diameter_mm:g} mm; "
            f"expected {LEAST_LENGTH_TO_DIAMETER:g} to {MOST_LENGTH_TO_DIAMETER:g} times"
        )


class FeedScrewFigures(PartFigures):
    """The hollow screw that holds the nozzle; all its fuel passes through it."""

    passage_area_mm2: Number = figure("area of the narrowest passage", "mm2", gt=0.2, lt=50.0)
    free_flow: Flag = figure("whether the passage is wide enough never to limit")

    @property
    def passage_area_m2(self) -> float:
        """Passage area [m2]."""
        return self.passage_area_mm2 * 1e-6


class PumpFigures(PartFigures):
    """A diaphragm pump with its override spring and lever."""

    capacity_cc: Number = figure("volume of one full stroke", "cc", gt=0.2, lt=20.0)
    capacity_ten_strokes_cc: Number = figure(
        "volume of ten full strokes, as the trade quotes it; either this or capacity_cc will do", "cc",
        basis=COMMON_PRACTICE, default=None, gt=2.0, lt=200.0,
    )  # fmt: skip
    diaphragm_area_mm2: Number = figure("area of the diaphragm that displaces fuel", "mm2", gt=50.0, lt=5000.0)
    safe_stroke_mm: Number = figure("travel the diaphragm bears without being stretched", "mm", gt=0.5, lt=30.0)
    spring_preload_n: Number = figure("force of the override spring before it is compressed", "N", gt=0.1, lt=200.0)
    spring_rate_n_per_mm: Number = figure("stiffness of the override spring", "N/mm", gt=0.01, lt=50.0)
    lever: Code = figure("kind of lever, by which a lobe suits it: short or long")
    lever_ratio: Number = figure("diaphragm travel over lobe lift", basis=ASSUMED, default=1.0, gt=0.2, lt=5.0)
    depth_below_bowl_mm: Number = figure("how far the pump's body stands below the bowl", "mm", gt=1.0, lt=60.0)

    @model_validator(mode="before")
    @classmethod
    def _either_capacity(cls, row: Any) -> Any:
        if not isinstance(row, dict):
            return row
        row = _by_ten_strokes(row)
        one, ten = row.get("capacity_cc"), row.get("capacity_ten_strokes_cc")
        if one is None and ten is not None:
            return row | {"capacity_cc": _times(ten, 0.1)}
        if ten is None and one is not None:
            return row | {"capacity_ten_strokes_cc": _times(one, 10.0)}
        return row

    @model_validator(mode="after")
    def _capacities_agree(self) -> Self:
        if not isclose(self.capacity_ten_strokes_cc, 10 * self.capacity_cc, rel_tol=0.005):
            raise ValueError(
                f"capacity_cc {self.capacity_cc:g} and capacity_ten_strokes_cc {self.capacity_ten_strokes_cc:g} "
                "disagree; expected ten times the one in the other"
            )
        return self

    @property
    def capacity_m3(self) -> float:
        """Volume of one full stroke [m3]."""
        return self.capacity_cc * 1e-6

    @property
    def diaphragm_area_m2(self) -> float:
        """Diaphragm area [m2]."""
        return self.diaphragm_area_mm2 * 1e-6

    @property
    def spring_rate_n_m(self) -> float:
        """Spring rate [N/m]."""
        return self.spring_rate_n_per_mm * 1e3


def _by_ten_strokes(row: dict[str, Any]) -> dict[str, Any]:
    """A pump whose capacity is said to be of ten strokes under that key, whichever it stands under.

    >>> _by_ten_strokes({"capacity_cc": "42 cc in ten", "lever": "short"})
    {'lever': 'short', 'capacity_ten_strokes_cc': 42.0}
    """
    for key in ("capacity_cc", "capacity_ten_strokes_cc"):
        said = re.fullmatch(r"(.+?)\s+in ten(?: strokes)?", str(row.get(key, "")).strip(), re.IGNORECASE)
        if said:
            with suppress(BadSize):
                others = {name: value for name, value in row.items() if name != key}
                return others | {"capacity_ten_strokes_cc": read_quantity(said[1], "cc").values[0]}
    return row


def _times(value: Any, factor: float) -> Any:
    """The value scaled, or as it stands if it is no number: its own field will say so."""
    try:
        return value if isinstance(value, bool) else round(float(value) * factor, 9)
    except (TypeError, ValueError, OverflowError):
        return value


class LobeFigures(PartFigures):
    """A lobe on the throttle shaft: lift over angle by a shape, or by a measured table."""

    total_lift_mm: Number = figure("lift over the whole lobe; a table gives its own", "mm", gt=0.2, lt=15.0)
    duration_deg: Number = figure("throttle angle over which it lifts; a table gives its own", "deg", gt=5.0, le=90.0)
    nose: Number | None = figure(
        "exponent n of lift = total (1 - (1 - angle/duration)^n); larger is steeper at first",
        basis=ASSUMED, default=None, ge=1.0, le=6.0,
    )  # fmt: skip
    table: Pairs = figure(
        "measured pairs of angle and lift, 0:0 first, such as 0:0 5:1.1 10:1.9; in place of nose", "deg:mm",
        default=(), max_length=200,
    )  # fmt: skip
    lever: Code = figure("kind of pump lever it is made for: short or long")
    phases_deg: Numbers = figure("mounting phases, one to three, increasing", "deg", min_length=1, max_length=3)

    @model_validator(mode="before")
    @classmethod
    def _ends_of_table(cls, row: Any) -> Any:
        """A table says the total lift and duration by its last pair."""
        pairs = row.get("table") if isinstance(row, dict) else None
        if isinstance(pairs, str):
            pairs = [pair.split(":") for pair in pairs.split()]
        if not isinstance(pairs, list | tuple) or not pairs:
            return row
        last = pairs[-1]
        if not isinstance(last, list | tuple) or len(last) != 2:
            return row
        return {"duration_deg": last[0], "total_lift_mm": last[1]} | row

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        if (self.nose is None) == (not self.table):
            found = "both nose and table" if self.table else "neither nose nor table"
            raise ValueError(f"{found}; expected one of them")
        if self.table:
            self._check_table()
        if not increasing(self.phases_deg) or self.phases_deg[0] < 0 or self.phases_deg[-1] >= 60:
            shown = " ".join(f"{phase:g}" for phase in self.phases_deg)
            raise ValueError(f"phases_deg is {shown}; expected increasing angles from 0 to below 60 deg")
        return self

    def _check_table(self) -> None:
        angles, lifts = [angle for angle, _ in self.table], [lift for _, lift in self.table]
        if self.table[0] != (0.0, 0.0):
            raise ValueError(f"table starts at {angles[0]:g}:{lifts[0]:g}; expected 0:0")
        if not increasing(angles):
            raise ValueError("table has an angle that is not greater than the one before; expected increasing angles")
        if any(later < sooner for sooner, later in pairwise(lifts)):
            raise ValueError("table has a lift less than the one before; expected lifts that never fall")
        ends = isclose(angles[-1], self.duration_deg, abs_tol=LIKE_TABLE_END)
        if not ends or not isclose(lifts[-1], self.total_lift_mm, abs_tol=LIKE_TABLE_END):
            raise ValueError(
                f"table ends at {angles[-1]:g}:{lifts[-1]:g}; expected duration_deg:total_lift_mm, "
                f"{self.duration_deg:g}:{self.total_lift_mm:g}"
            )


class Stocked(Record):
    """What a supplier sells."""

    code: Code = figure("code, once in the whole catalogue; lower case letters, digits, dots and hyphens")
    supplier: Code = figure("code of a supplier in suppliers.csv")
    price: Number = figure("price of one, in the workshop's currency", "currency", ge=0.0, lt=100_000.0)


class Part(Stocked):
    """A stocked part that is fitted."""

    labour_min: Whole = figure("labour to fit one", "min", basis=ASSUMED, ge=0, le=6000)


class NozzlePart(Part, NozzleFigures):
    """A nozzle of the catalogue."""

    redrillable: Flag = figure("whether it may sensibly be drilled larger: straight ones only", basis=COMMON_PRACTICE)


class FeedScrew(Part, FeedScrewFigures):
    """A feed screw of the catalogue."""


class Pump(Part, PumpFigures):
    """A pump of the catalogue, and what comes in its box."""

    comes_with: Codes = figure("codes of parts in the same box", default=(), max_length=20)


class Lobe(Part, LobeFigures):
    """A lobe of the catalogue."""


class Spacer(Part):
    """A plate between carburettor and manifold."""

    thickness_mm: Number = figure("how far it lifts the carburettor", "mm", gt=0.5, lt=150.0)
    bonnet_mm: Number = figure("bonnet clearance it takes: thickness and its extra gasket", "mm", gt=0.5, lt=160.0)

    @model_validator(mode="after")
    def _no_thinner_under_the_bonnet(self) -> Self:
        if self.bonnet_mm < self.thickness_mm:
            raise ValueError(
                f"bonnet_mm {self.bonnet_mm:g} is less than thickness_mm {self.thickness_mm:g}; expected at least that"
            )
        return self


class Consumable(Stocked):
    """A gasket or the like that is used up when a joint is opened."""

    joint: Joint = figure("joint that uses it up: nozzle_seat, pump_cover, carburettor_flange or intake_manifold")
    quantity: Whole = figure("number used each time the joint is opened", ge=1, le=50)


class Operation(Record):
    """Work that is not a part: it costs labour and cannot be undone."""

    code: Code = figure("code, once in the whole catalogue")
    kind: Literal["redrill_nozzle", "relieve_pad"] = figure("redrill_nozzle: to a size; relieve_pad: in steps")
    price: Number = figure("price besides labour, in the workshop's currency", "currency", ge=0.0, lt=100_000.0)
    labour_min: Whole = figure("labour each time (relieve_pad: for one step)", "min", basis=ASSUMED, ge=0, le=6000)
    reversible: Flag = figure("whether it can be undone")
    min_diameter_mm: DiameterMm | None = figure("smallest drill, redrill_nozzle", "mm", default=None, gt=0.2, lt=3.0)
    max_diameter_mm: DiameterMm | None = figure("largest drill, redrill_nozzle", "mm", default=None, gt=0.2, lt=3.0)
    step_mm: Number | None = figure("depth of one step, relieve_pad", "mm", default=None, gt=0.05, lt=20.0)
    most_mm: Number | None = figure("greatest depth in all, relieve_pad", "mm", default=None, gt=0.05, lt=20.0)

    @model_validator(mode="after")
    def _figures_of_its_kind(self) -> Self:
        keys = {"redrill_nozzle": ("min_diameter_mm", "max_diameter_mm"), "relieve_pad": ("step_mm", "most_mm")}
        for kind, (low_key, high_key) in keys.items():
            low, high = getattr(self, low_key), getattr(self, high_key)
            if kind != self.kind and (low is not None or high is not None):
                raise ValueError(f"{low_key} and {high_key} belong to {kind}; expected none with {self.kind}")
            if kind == self.kind and (low is None or high is None):
                raise ValueError(f"{self.kind} lacks {low_key if low is None else high_key}; expected both")
            if low is not None and high is not None and low > high:
                raise ValueError(f"{low_key} {low:g} is greater than {high_key} {high:g}; expected the lesser first")
        return self
