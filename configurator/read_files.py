"""Text, tables and TOML from files that people edit, read with care.

Whatever is in them, the answer is a value or BadInput. A file is refused by its size before it is read. A table may be
parted by commas, semicolons or tabs, as spreadsheets write them; with semicolons a comma inside a number is its decimal
point.
"""

import csv
import io
import re
import stat
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from configurator.errors import BadInput, Fault

LARGEST_FILE_BYTES = 5_000_000
MOST_COLUMNS = 100
DELIMITERS = (",", ";", "\t")
_DEEP_KEY = re.compile(r"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){40}")
"""A dotted key of forty steps: the time and memory that TOML takes for one grow with the square of its length."""
_DECIMAL_COMMA = re.compile(r"(?<![\d,])([+-]?\d*),(\d+)(?![\d,])")


@dataclass(frozen=True)
class Row:
    """One row as the spreadsheet numbers it, the heading being row 1; empty cells are left out."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True)
class Table:
    """A file's columns, its rows that hold anything, and what was wrong with its shape."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    faults: tuple[Fault, ...]


def did_you_mean(name: str, known: Sequence[str]) -> str:
    """A question naming the known word closest to this one, or nothing.

    >>> did_you_mean("idle_rmp", ["idle_rpm", "displacement_cc"])
    'did you mean idle_rpm?'
    """
    close = get_close_matches(name.lower()[:100], known, n=1, cutoff=0.6)
    return f"did you mean {close[0]}?" if close else ""


def read_text(path: Path) -> str:
    """The whole text of a UTF-8 file of at most 5 MB, without a byte order mark; raises BadInput."""

    def refuse(problem: str, expected: str = "", remedy: str = "") -> BadInput:
        return BadInput([Fault(str(path), "", problem, expected, remedy)])

    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise refuse("is a directory", "a file", "name a file inside it")
        if not stat.S_ISREG(state.st_mode):
            raise refuse("is not an ordinary file", "a file")
        if state.st_size > LARGEST_FILE_BYTES:
            raise refuse(f"holds {state.st_size / 1e6:.0f} MB", f"at most {LARGEST_FILE_BYTES / 1e6:.0f} MB")
        content = path.read_bytes()
    except FileNotFoundError:
        raise refuse("there is no such file", remedy=_file_meant(path)) from None
    except (OSError, ValueError) as error:
        raise refuse(f"cannot be read ({getattr(error, 'strerror', None) or error})") from None
    if b"\0" in content:
        raise refuse("holds NUL bytes, so it is no text file", "UTF-8 text")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        found = f"line {line} is not UTF-8 text (byte 0x{content[error.start]:02x})"
        raise refuse(found, "UTF-8 text", "save the file again with the encoding UTF-8") from None


def _file_meant(path: Path) -> str:
    try:
        return did_you_mean(path.name, sorted(entry.name for entry in path.parent.iterdir()))
    except (OSError, ValueError):
        return ""


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file; raises BadInput with the line at which it stops being TOML."""
    text = read_text(path)
    if not text.strip():
        raise BadInput([Fault(str(path), "", "is empty", "a vehicle file in TOML")])
    too_deep = BadInput([Fault(str(path), "", "is nested too deeply", "tables of keys and values")])
    if _DEEP_KEY.search(text):
        raise too_deep
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise too_deep from None
    except ValueError as error:
        found = str(error)[:300]
        raise BadInput([Fault(str(path), "", f"is not TOML: {found}", "lines such as idle_rpm = 800")]) from None


def read_table(path: Path) -> Table:
    """The rows of a delimited text file under the headings of its first row; raises BadInput if it has none."""
    text = read_text(path)
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(DELIMITERS, key=first.count)
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise BadInput(
            [Fault(str(path), "", f"is not a table: {error}", "one row a line, cells in pairs of quotes or none")]
        ) from None
    filled = [
        (number, [cell.strip() for cell in cells])
        for number, cells in enumerate(records, 1)
        if any(map(str.strip, cells))
    ]
    if not filled:
        raise BadInput([Fault(str(path), "", "is empty", "a row of column headings, and rows below it")])
    (heading, columns), *body = filled
    if len(columns) > MOST_COLUMNS:
        found = f"has {len(columns)} columns in its heading"
        raise BadInput([Fault(str(path), f"row {heading}", found, f"at most {MOST_COLUMNS}")])
    faults = [
        Fault(str(path), f"row {heading}", f"has two columns {name}", "each column once")
        for name in sorted({name for name in columns if name and columns.count(name) > 1})
    ]
    rows = []
    for number, cells in body:
        beyond = [
            cell for position, cell in enumerate(cells) if cell and (position >= len(columns) or not columns[position])
        ]
        if beyond:
            faults.append(
                Fault(str(path), f"row {number}", f"holds '{beyond[0][:40]}' under no heading",
                      f"cells under the {sum(map(bool, columns))} headings only",
                      "put a cell that holds the delimiter between double quotes")
            )  # fmt: skip
        named = {name: cell for name, cell in zip(columns, cells, strict=False) if name and cell}
        if delimiter == ";":
            named = {name: _with_decimal_point(cell) for name, cell in named.items()}
        rows.append(Row(number, named))
    return Table(tuple(name for name in columns if name), tuple(rows), tuple(faults))


def _with_decimal_point(cell: str) -> str:
    """Numbers of a semicolon table with a decimal point; text that is not wholly numbers stays.

    >>> _with_decimal_point("0:0 5:1,1"), _with_decimal_point("one, two")
    ('0:0 5:1.1', 'one, two')
    """
    return _DECIMAL_COMMA.sub(r"\1.\2", cell) if re.fullmatch(r"[\d\s,.:+-]+", cell) else cell
