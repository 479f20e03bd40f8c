"""The served folder: its vehicle files and workshop files, and a new vehicle file put in whole or not at all.

A file is found by listing the folder and by nothing else: no name from outside ever becomes part of a path.
"""

import os
import re
import unicodedata
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from threading import Lock
from typing import Any

from configurator.car.fitted import vehicle_for
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault, TipinError
from configurator.files.lines import pointed
from configurator.files.reading import read_bytes, text_of, toml_of
from configurator.files.writing import write_new, write_whole
from configurator.judging.case import Case
from configurator.ordering.meeting import twin_names
from configurator.web.kept import KeptValues

ENDING = ".toml"
MOST_FILES = 1000
MOST_WRITTEN_BYTES = 100_000
"""Of a file that is mended on the page."""
LONGEST_STEM = 60
_UNSAFE = re.compile(r"[^\w-]+")
_TAKEN_BY_SYSTEMS = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)", re.IGNORECASE)


class NotThere(TipinError):
    """The folder holds no such vehicle or workshop file."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(name)

    def __str__(self) -> str:
        return "there is no such file in the folder that is shown here"


@dataclass(frozen=True)
class Filed:
    """A vehicle file that can be used; digest tells one content from another."""

    name: str
    vehicle: Vehicle
    digest: str


@dataclass(frozen=True)
class BrokenFile:
    """A file that cannot be used, and why."""

    name: str
    error: TipinError

    @property
    def says(self) -> str:
        """What is wrong with it."""
        return str(self.error)


@dataclass(frozen=True)
class Listing:
    """What the folder holds, each kind by name; workshop files by their stem, behind that of the folder they lie in."""

    vehicles: tuple[Filed, ...]
    workshops: tuple[str, ...]
    broken: tuple[BrokenFile, ...]

    @property
    def twins(self) -> list[str]:
        """Names that more than one vehicle goes by."""
        return twin_names(filed.vehicle for filed in self.vehicles)


@dataclass(frozen=True)
class Added:
    """Where an uploaded file stands; new is False if the folder held it already."""

    name: str
    new: bool


@dataclass(frozen=True)
class WrittenFile:
    """A vehicle file as it is written; digest tells one content from another."""

    text: str
    digest: str


class Folder:
    """A folder of vehicle files in front of a catalogue."""

    def __init__(self, path: Path, catalog: Catalog) -> None:
        """Raises BadInput if there is no such folder."""
        if not path.is_dir():
            raise BadInput([Fault(str(path), "", "is no folder", "a folder with vehicle files in it")])
        self.path = path
        self._catalog = catalog
        self._mending = Lock()
        self._read: KeptValues[Vehicle | BrokenFile | None] = KeptValues(2 * MOST_FILES)

    def listing(self) -> Listing:
        """Everything in the folder that ends in .toml, hidden files and links out of it excepted; of the folders in it
        only workshop files."""
        vehicles, workshops, broken = [], [], []
        for name, path in self._files():
            found = self._look(name, path)
            if found is None:
                workshops.append(name)
            elif isinstance(found, Filed):
                vehicles.append(found)
            else:
                broken.append(found)
        workshops += [name for name, path in self._files_below() if self._look(name, path) is None]
        return Listing(tuple(vehicles), tuple(workshops), tuple(broken))

    def vehicle(self, name: str) -> Filed:
        """The vehicle file of this name; raises NotThere, and BadInput with its faults."""
        path = self._named(name)
        found = self._look(name, path)
        if found is None:
            raise NotThere(name)
        if isinstance(found, BrokenFile):
            raise found.error
        return found

    def workshop(self, name: str) -> Path:
        """Path of the workshop file of this name; raises NotThere."""
        for stem, path in (*self._files(), *self._files_below()):
            if stem == name and self._look(name, path) is None:
                return path
        raise NotThere(name)

    def written(self, name: str) -> WrittenFile:
        """The text of a vehicle file, whatever is wrong with it; raises NotThere, and BadInput if it is no text."""
        path = self._named(name)
        if self._look(name, path) is None:
            raise NotThere(name)
        content = read_bytes(path, MOST_WRITTEN_BYTES)
        return WrittenFile(text_of(content, path.name), _digest(content))

    def check(self, file_name: str, text: str) -> None:
        """Raises BadInput, each fault with its line, for what is no vehicle file or does not suit the catalogue."""
        try:
            self._suits(toml_of(text, file_name), file_name)
        except BadInput as error:
            raise pointed(error, {file_name: text}) from None

    def mend(self, name: str, digest: str, content: bytes) -> None:
        """Put a vehicle file in the place of what was there when it was read. Raises as `written` and `check`, and
        BadInput if the file was changed meanwhile."""
        path = self._named(name)
        self.check(path.name, text_of(content, path.name))
        with self._mending:
            if self.written(name).digest != digest:
                problem, remedy = (
                    "was changed meanwhile",
                    "look at it again, and put your change into what is there now",
                )
                raise BadInput([Fault(path.name, "", problem, "", remedy)])
            write_whole(path, content)

    def add(self, file_name: str, content: bytes) -> Added:
        """Put a vehicle file into the folder, under a name made from its own; nothing there is ever overwritten.

        Raises BadInput, with nothing written, for what is no vehicle file or does not suit the catalogue.
        """
        shown = re.split(r"[/\\]", file_name)[-1] or f"vehicle{ENDING}"
        self.check(shown, text_of(content, shown))
        files = list(self._files())
        for name, path in files:
            with suppress(BadInput):
                if read_bytes(path) == content:
                    return Added(name, False)
        if len(files) >= MOST_FILES:
            raise BadInput([Fault(str(self.path), "", f"holds {MOST_FILES} files already", "fewer", "clear it up")])
        return self._put(safe_stem(shown), content)

    def _put(self, stem: str, content: bytes) -> Added:
        """Written under the first name like this that nobody has taken, not even meanwhile."""
        for number in range(1, MOST_FILES + 2):
            name = stem if number == 1 else f"{stem}-{number}"
            target = self.path / (name + ENDING)
            try:
                write_new(target, content)
            except FileExistsError:
                if target.is_file() and read_bytes(target) == content:
                    return Added(name, False)
            except OSError as error:
                raise BadInput([Fault(str(self.path), "", f"cannot be written to ({error.strerror})")]) from None
            else:
                return Added(name, True)
        raise BadInput([Fault(str(self.path), "", f"has no name left like {stem}", "another name")])

    def _files(self) -> Iterator[tuple[str, Path]]:
        """Stem and path of each file, in the order of their names."""
        for path in [path for path in self._inside(self.path) if path.name.endswith(ENDING)][:MOST_FILES]:
            if path.is_file():
                yield path.name.removesuffix(ENDING), path

    def _files_below(self) -> Iterator[tuple[str, Path]]:
        """The same of the files in folders of this one, the name of their folder before the stem."""
        below = (file for folder in self._inside(self.path) if folder.is_dir() for file in self._inside(folder))
        for path in [path for path in below if path.name.endswith(ENDING)][:MOST_FILES]:
            if path.is_file():
                yield f"{path.parent.name}/{path.name.removesuffix(ENDING)}", path

    def _inside(self, folder: Path) -> Iterator[Path]:
        """What lies in a folder, by name; nothing hidden, no link that leads out of the folder served."""
        home = self.path.resolve()
        try:
            names = sorted(entry.name for entry in os.scandir(folder))
        except OSError as error:
            raise BadInput([Fault(str(folder), "", f"cannot be read ({error.strerror})")]) from None
        for name in names:
            with suppress(OSError, UnicodeEncodeError):
                name.encode()
                if not name.startswith(".") and (folder / name).resolve().is_relative_to(home):
                    yield folder / name

    def _named(self, name: str) -> Path:
        for stem, path in self._files():
            if stem == name:
                return path
        raise NotThere(name)

    def _look(self, name: str, path: Path) -> Filed | BrokenFile | None:
        """The vehicle in a file, what is wrong with it, or None for a workshop file."""
        try:
            content = read_bytes(path)
        except BadInput as error:
            return BrokenFile(name, error)
        digest = _digest(content)
        found = self._read.get((name, digest), lambda: self._judged(name, str(path), content))
        return Filed(name, found, digest) if isinstance(found, Vehicle) else found

    def _judged(self, name: str, path: str, content: bytes) -> Vehicle | BrokenFile | None:
        try:
            tables = toml_of(text_of(content, path), path)
            return None if "vehicle" in tables else self._suits(tables, path)
        except TipinError as error:
            return BrokenFile(name, pointed(error))

    def _suits(self, tables: dict[str, Any], name: str) -> Vehicle:
        return Case.of(vehicle_for(tables, name, self._catalog), self._catalog).vehicle


def _digest(content: bytes) -> str:
    return sha256(content).hexdigest()


def safe_stem(file_name: str) -> str:
    r"""A name for a file that is safe on every system, from one that came from outside.

    >>> safe_stem("../../etc/My car.toml"), safe_stem("..\\nul.toml"), safe_stem("<b>.toml"), safe_stem("...")
    ('My-car', 'vehicle-nul', 'b', 'vehicle')
    """
    last = re.split(r"[/\\]", unicodedata.normalize("NFKC", file_name))[-1]
    stem = _UNSAFE.sub("-", last.removesuffix(ENDING)).strip("-_")[:LONGEST_STEM].strip("-_")
    if not stem or _TAKEN_BY_SYSTEMS.fullmatch(stem):
        return f"vehicle-{stem}" if stem else "vehicle"
    return stem
