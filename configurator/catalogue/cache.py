"""A checked catalogue kept between starts, so that a large one is checked once and not at every start.

What is kept goes by the bytes of all files, the program's own source and the libraries under it, so it is found only
where checking would end in the same records. It holds figures and texts only and cannot make anything run. Each of its
files ends whole or not at all, carries a checksum that only its user can make, and may be deleted at any time; one that
cannot be read counts as absent.
"""

import gc
import os
import sys
import time
from collections.abc import ItemsView, Iterator, Mapping, Sequence, ValuesView
from contextlib import contextmanager, suppress
from hashlib import blake2b
from hmac import compare_digest
from pathlib import Path
from secrets import token_bytes
from threading import Lock
from typing import Any

import pydantic
from pydantic_core import from_json, to_json

from configurator.errors import BadInput
from configurator.files.declared import Record
from configurator.files.source import source_of
from configurator.files.writing import write_whole

PLACE_VARIABLE, SWITCHED_OFF = "TIPIN_CACHE", "off"
LEAST_WORTH_KEEPING_BYTES = 100_000
"""A catalogue of fewer bytes, under two thousand parts, is checked in a few hundredths of a second at every start."""
SECRET_BYTES = 32
MOST_KEPT = 8
"""Catalogues that are kept, the last ones used."""
LEFT_BEHIND_S = 3600.0
"""After this time a file that was not finished is one whose writer was stopped."""
_KEPT, _UNFINISHED = "catalog-*.json", ".catalog-*"

Families = dict[str, Mapping[str, Any]]
"""Records of each family by code."""
Models = Mapping[str, type[Record]]


@contextmanager
def collector_paused() -> Iterator[None]:
    """Records hold no circles; to look for some while hundreds of thousands are made takes as long as making them."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def key_of(contents: Mapping[str, bytes | None]) -> str:
    """What a catalogue of these files is kept under; empty if it is not to be kept."""
    if sum(len(content or b"") for content in contents.values()) < LEAST_WORTH_KEEPING_BYTES or _folder() is None:
        return ""
    digest = _own_digest()
    for name, content in contents.items():
        size = -1 if content is None else len(content)
        digest.update(f"\n{name} {size}\n".encode())
        digest.update(content or b"")
    return digest.hexdigest()


def recall(key: str, models: Models) -> Families | None:
    """The records kept under a key, or None if there are none, or none that can be read."""
    folder = _folder()
    if not key or folder is None:
        return None
    path = folder / _KEPT.replace("*", key)
    try:
        checksum, _, text = path.read_bytes().partition(b"\n")
        if not compare_digest(checksum, _checksum(text, _secret())):
            return None
        tables = from_json(text, cache_strings="keys")
        found: Families = {name: _KeptRecords(model, tables[name]) for name, model in models.items()}
        os.utime(path)
    except (OSError, ValueError, LookupError, TypeError):
        return None
    return found


def keep(key: str, families: Mapping[str, Mapping[str, Record]]) -> None:
    """Keep the records of a catalogue under a key; without effect where nothing can be written."""
    folder = _folder()
    if not key or folder is None:
        return
    text = to_json({name: _table(records) for name, records in families.items()})
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        write_whole(folder / _KEPT.replace("*", key), _checksum(text, _secret()) + b"\n" + text)
        _sweep(folder)
    except (OSError, BadInput):
        return


def _folder() -> Path | None:
    """Where catalogues are kept; None if they are not to be."""
    place = os.environ.get(PLACE_VARIABLE, "").strip()
    if place:
        return None if place.lower() == SWITCHED_OFF else Path(place)
    from platformdirs import user_cache_path

    return user_cache_path("tipin", appauthor=False)


def _own_digest() -> blake2b:
    """A digest of all that decides which records a catalogue's files become, besides the files."""
    digest = blake2b(f"{sys.version} {pydantic.VERSION}".encode(), digest_size=32)
    digest.update(_own_source())
    return digest


def _own_source() -> bytes:
    return source_of("configurator.catalogue.load")


def _checksum(text: bytes, secret: bytes) -> bytes:
    return blake2b(text, digest_size=32, key=secret).hexdigest().encode()


def _secret() -> bytes:
    """Known to this user alone, and kept apart from what is kept: nobody else writes a file that is taken for checked.
    Raises OSError where it can be neither read nor made."""
    from platformdirs import user_data_path

    path = user_data_path("tipin", appauthor=False) / "cache-key"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError):  # another process was faster
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as file:
                file.write(token_bytes(SECRET_BYTES))
    secret = path.read_bytes()
    if len(secret) != SECRET_BYTES:
        raise OSError("is still being written, or was damaged")
    return secret


def _sweep(folder: Path) -> None:
    """Delete all but the catalogues used last, and what a stopped writer left behind."""
    by_age = sorted(((_modified_s(path), path) for path in folder.glob(_KEPT)), reverse=True)
    left = [path for path in folder.glob(_UNFINISHED) if _modified_s(path) < time.time() - LEFT_BEHIND_S]
    for path in [*left, *(path for _, path in by_age[MOST_KEPT:])]:
        path.unlink(missing_ok=True)


def _modified_s(path: Path) -> float:
    """When a file was last written or used; now if another sweep has just deleted it."""
    try:
        return path.stat().st_mtime
    except OSError:
        return time.time()


# Records as columns: what a column says again and again is written once, and read into one object. -----------------


def _table(records: Mapping[str, Record]) -> dict[str, Any]:
    """Records as columns by field; under "codes" their codes, and under "given" the fields that their file gave."""
    rows = list(records.values())
    names = list(type(rows[0]).model_fields) if rows else []
    columns = {name: _column([row.__dict__[name] for row in rows]) for name in names}
    given = _column([tuple(sorted(row.model_fields_set)) for row in rows])
    return {"codes": list(records), "given": given, "columns": columns}


def _column(values: Sequence[Any]) -> list[Any]:
    """Different values, and the place of each row's among them; no places where all differ."""
    places = {value: place for place, value in enumerate(dict.fromkeys(values))}
    different = list(places)
    return [different, None if len(different) == len(values) else [places[value] for value in values]]


def _as_read(value: Any) -> Any:
    """JSON's lists are the tuples of records."""
    return tuple(map(_as_read, value)) if isinstance(value, list) else value


class _KeptRecords(Mapping[str, Any]):
    """Records of one table by code, each made, without checking it again, when it is first asked for."""

    def __init__(self, model: type[Record], table: Mapping[str, Any]) -> None:
        self._model, self._names = model, tuple(table["columns"])
        self._records: dict[str, Any] = {code: place for place, code in enumerate(table["codes"])}
        """By code the record, or its place in the table while it is not made; always in the order of the table."""
        self._columns = [self._read(*column) for column in table["columns"].values()]
        different, places = self._read(*table["given"])
        self._given = [set(names) for names in different], places
        self._whole, self._making = False, Lock()

    def _read(self, different: Sequence[Any], places: Sequence[int] | None) -> tuple[list[Any], Sequence[int]]:
        """A column as written by _column; raises ValueError unless it is as long as the table."""
        places = range(len(different)) if places is None else places
        if len(places) != len(self._records):
            raise ValueError("a column is longer or shorter than its table")
        return [_as_read(value) for value in different], places

    def __getitem__(self, code: str) -> Any:
        found = self._records[code]
        if type(found) is int:
            with self._making:
                place = self._records[code]
                if type(place) is int:
                    values = [different[places[place]] for different, places in self._columns]
                    self._records[code] = self._record(values, place)
        return self._records[code]

    def __contains__(self, code: object) -> bool:
        return code in self._records

    def __iter__(self) -> Iterator[str]:
        return iter(self._records)

    def __len__(self) -> int:
        return len(self._records)

    def values(self) -> ValuesView[Any]:
        return self._all().values()

    def items(self) -> ItemsView[str, Any]:
        return self._all().items()

    def _all(self) -> dict[str, Any]:
        """All records, those not made yet made in one go."""
        with self._making, collector_paused():
            if not self._whole:
                columns = [map(different.__getitem__, places) for different, places in self._columns]
                for place, (code, values) in enumerate(zip(self._records, zip(*columns, strict=True), strict=True)):
                    if type(self._records[code]) is int:
                        self._records[code] = self._record(values, place)
                self._whole = True
        return self._records

    def _record(self, values: Sequence[Any], place: int) -> Any:
        record, put = self._model.__new__(self._model), object.__setattr__
        given, places = self._given
        put(record, "__dict__", dict(zip(self._names, values, strict=True)))
        put(record, "__pydantic_fields_set__", given[places[place]])
        put(record, "__pydantic_extra__", None)
        put(record, "__pydantic_private__", None)
        return record
