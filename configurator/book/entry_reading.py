"""A row of the book read as a run, or as what was told to be fitted; or set aside, by number and with its reason.

Three things keep a record from being read: a later tipin wrote what this one does not know, its letters are not those
that were written, or another program put it there.
"""

from collections.abc import Sequence
from typing import Any, TypeVar

from pydantic import ValidationError
from sqlalchemy import Row

from configurator.book.car_records import SetAside
from configurator.book.fitting import Fitting
from configurator.book.records import CAR_FORMAT, Trial, car_of
from configurator.book.schema import digest_of
from configurator.car.in_place import PartsInPlace
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, one_line
from configurator.judging.case import Case
from configurator.judging.feelings import symptom_felt
from configurator.slots.slot import SLOTS

SomeEntry = TypeVar("SomeEntry", Trial, Fitting)
UNREADABLE = (BadInput, ValueError, KeyError, TypeError, AttributeError, ArithmeticError, RecursionError)
"""What reading a record that others wrote may end in; pydantic's own error is a ValueError."""
NOT_AS_WRITTEN = "its record is not as it was written: another program or the disk has changed it"
_LATER = "a later tipin kept it, and wrote what this one does not know"
LONGEST_REASON = 200


def read_entry(row: Row[Any], kind: type[SomeEntry]) -> SomeEntry | SetAside:
    """The entry of a row, of which everything can be judged; or that it stands aside."""
    if row.digest is not None and row.digest != digest_of(row.number, row.vehicle, row.record):
        return _aside(row, kind, NOT_AS_WRITTEN)
    try:
        kept = kind.model_validate_json(row.record)
        _look_at(kept)
    except UNREADABLE as error:
        return _aside(row, kind, _reason(error))
    return kept.model_copy(update={"number": row.number, "undone": bool(row.undone)})


def judged_in(catalog: Catalog, runs: Sequence[Trial]) -> tuple[list[Trial], list[SetAside]]:
    """The runs that can be put in front of a catalogue, and those that cannot."""
    judged, aside = [], []
    for run in runs:
        try:
            Case.of(car_of(run), catalog)
        except UNREADABLE as error:
            aside.append(_aside(run, Trial, _reason(error)))
        else:
            judged.append(run)
    return judged, aside


def _look_at(kept: Trial | Fitting) -> None:
    """Raises what its car, its parts or its feeling would raise later."""
    if kept.car_format > CAR_FORMAT:
        raise ValueError(_LATER)
    fitted = PartsInPlace.model_validate(kept.car["fitted"])
    for slot in kept.codes:
        circuit = SLOTS[slot].circuit
        if circuit is not None and getattr(fitted, circuit) is None:
            raise ValueError(f"its car has no {circuit} pump circuit")
    if isinstance(kept, Trial):
        car_of(kept)
        if kept.felt is not None:
            symptom_felt(kept.felt.word, kept.felt.moment)


def _reason(error: Exception) -> str:
    """Why, in a few words."""
    if isinstance(error, ValidationError):
        first = error.errors(include_url=False)[0]
        if first["type"] == "extra_forbidden":
            return f"{_LATER} ({first['loc'][-1]})"
        where, what = ".".join(map(str, first["loc"])), first["msg"]
    elif isinstance(error, BadInput):
        where, what = error.faults[0].place, error.faults[0].problem
    else:
        where, what = "", str(error)
    return what if what == _LATER else f"its record cannot be read ({': '.join(filter(None, [where, what]))})"


def _aside(row: Row[Any] | Trial, kind: type[Trial] | type[Fitting], why: str) -> SetAside:
    return SetAside(
        kind="run" if kind is Trial else "entry", number=row.number or 0, vehicle=str(row.vehicle),
        undone=bool(row.undone), why=one_line(why)[:LONGEST_REASON],
    )  # fmt: skip
