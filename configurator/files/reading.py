"""Text, tables and TOML from files that people edit, read with care.

Whatever is in them, the answer is a value or BadInput. A file is refused by its size before it is read. A table may be
parted by commas, semicolons or tabs, as spreadsheets write them; with semicolons a comma inside a number is its decimal
point. A row that begins with # is a comment, unless a number follows alone: #68 is a drill.
"""

import csv
import io
import re
import stat
import tomllib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import zip_longest
from pathlib import Path
from typing import Any, NamedTuple

from configurator.errors import BadInput, Fault

LARGEST_FILE_BYTES = 5_000_000
MOST_COLUMNS = 100
DELIMITERS = (",", ";", "\t")
_DEEP_KEY = re.compile(r"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){40}")
"""A dotted key of forty steps: the time and memory that TOML takes for one grow with the square of its length."""
_COMMENT = re.compile(r"#(?!\s*\d*$)")
"""How a comment begins; #68 is a drill, and # alone the heading of a column."""
_DECIMAL_COMMA = re.compile(r"(?<![\d,])([+-]?\d*),(\d+)(?![\d,])")

LEAST_LIKENESS = 0.6
"""How much of two words has to agree before the one may have been meant by the other."""
MOST_LINES_AT_FAULT = 10
MOST_OF_A_LINE_SHOWN = 60
LARGEST_FILE_READ_AGAIN = 100_000
_MOST_DIGITS = 4300
_KEY_LINE = re.compile(r"\s*[\w.-]+\s*[=:]")
_NEW_START = re.compile(r"\s*(#|\[|$|[\w.-]+\s*[=:])")
# What tomllib says, or how the line looks, and what should stand there instead; the first that fits.
_CURES_BY_MESSAGE = (
    ("Cannot overwrite", "each key once under its heading"),
    ("Cannot declare", "each heading once, with all its keys below it"),
    ("Unclosed array", "commas between the values of the list, and a ] at its end, on this line or above it"),
    ("Exceeds the limit", "a number of fewer digits"),
    ("Unescaped '\\'", "a / in place of each backslash in the text"),
    ("Found invalid character", "no control characters"),
    ("Illegal character '\\x", "no control characters"),
)  # fmt: skip
_CURES_BY_LOOK = tuple(
    (re.compile(look, re.IGNORECASE), cure)
    for look, cure in (
        ("[^=]*=\\s*[\u201c\u201d\u201e\u2018\u2019\u00ab\u00bb]", 'straight double quotes " in place of curly ones'),
        (r"\s*\[", "a heading alone between square brackets, such as [engine]"),
        (r"[^=]*=\s*\{[^}]*$", "everything from { to } on one line"),
        (r"[^=]*=\s*\{", "pairs such as style = \"straight\" between { and }, with commas between them"),
        (r"[^=]*=\s*\[", 'a list such as ["straight", "aimed"]'),
        (r"[^=:]*:", "= between key and value, not a colon"),
        (r"\s*=", "a key before the =, such as idle_rpm = 800"),
        (r"[^=]*$", "= between key and value, such as idle_rpm = 800"),
        (r"\s*[\w.-]+\s+[\w.-]", "one word before the =, such as idle_rpm = 800"),
        (r"[^=]*=\s*#\s*\d", 'a drill between double quotes, such as "#68"'),
        (r"[^=]*=\s*(#|$)", "a value behind the =, or # before the key of a line that is not to count"),
        (r"[^=]*=\s*(yes|no|true|false|on|off)\b", "true or false in small letters without quotes; not yes or no"),
        (r"[^=]*=\s*[+-]?\d{1,3}(,\d{3})+(?!\d)", "a number without a comma between thousands, such as 1800"),
        (r"[^=]*=\s*[+-]?\d+,\d", "a decimal point, not a comma, such as 0.28"),
        (r"[^=]*=\s*[+-]?0\d", "a number without zeros before it"),
        (r"[^=]*=\s*[+-]?(\.\d|\d+\.(\D|$))", "a digit on either side of the decimal point, such as 0.5"),
        (r"[^=]*=\s*\d+\s*/\s*\d", "a decimal number, not a fraction"),
        (r"[^=]*=\s*[+-]?[\d.]+\s*[^\s\d#]",
         'the number alone, or with its unit between double quotes, such as "31 thou" or "350 cu in"'),
        (r"""[^=]*=\s*("{3}|'{3})""", "three such quotes at the end of the text too"),
        (r"""[^=]*=\s*("[^"]*"|'[^']*')\s*[^\s#]""",
         "nothing behind the closing quote, and no such quote within the text"),
        (r"""[^=]*=\s*["']""",
         'the closing quote on the same line; three quotes """ on either side if the text takes more lines'),
        (r"[^=]*=\s*[^\[\s\d+-]", 'text between double quotes, such as name = "My car"'),
    )
)  # fmt: skip


class Row(NamedTuple):
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
    >>> did_you_mean("straight-0.83", ["straight-0.80", "straight-0.82", "straight-0.85", "straight-0.98"])
    'did you mean straight-0.82 or straight-0.85?'
    """
    name = name.lower()[:100]
    if near := _nearest_sizes(name, known):
        return f"did you mean {' or '.join(near)}?"
    within = sorted((word for word in known if len(name) > 2 and name in word), key=len)
    meant = _closest(name, known) or next(iter(within), "")
    return f"did you mean {meant}?" if meant else ""


_LAST_NUMBER = re.compile(r"(?<![\d.])\d+(?:\.\d+)?(?=[^\d.]+$|$)")


def _nearest_sizes(name: str, known: Sequence[str]) -> list[str]:
    """Of the words that say another number and else the same, those of the next smaller and the next larger: sizes lie
    near by what they measure, not by their letters."""
    kind, size = _kind_and_size(name)
    if size is None or kind == "#":
        return []
    kinds: dict[str, dict[float | None, str]] = {}
    for word in known:
        other, number = _kind_and_size(word)
        kinds.setdefault(other, {})[number] = word
    there = kinds.get(kind if kind in kinds else _closest(kind, list(kinds)), {})
    numbers = [number for number in there if number is not None]
    smaller = max((number for number in numbers if number <= size), default=None)
    larger = min((number for number in numbers if number >= size), default=None)
    return [there[number] for number in dict.fromkeys((smaller, larger)) if number is not None]


def _kind_and_size(word: str) -> tuple[str, float | None]:
    """A word with # for the last number in it, and that number.

    >>> _kind_and_size("pump-3cc"), _kind_and_size("screw-wide")
    (('pump-#cc', 3.0), ('screw-wide', None))
    """
    number = _LAST_NUMBER.search(word)
    return (word[: number.start()] + "#" + word[number.end() :], float(number[0])) if number else (word, None)


def _closest(name: str, known: Sequence[str]) -> str:
    """The known word most like this one, by difflib's ratio; empty if none is like it.

    No ratio exceeds the share of letters in common, which is found far sooner. So words are tried in the order of that
    share, until none can be more like it: well below a second for 100,000 words.
    """
    letters, numbers = zip(*Counter(name).items(), strict=True) if name else ((), ())
    in_common = []
    for word in known:
        both = len(name) + len(word)
        if both and 2 * min(len(name), len(word)) / both >= LEAST_LIKENESS:
            share = 2 * sum(map(min, map(word.count, letters), numbers)) / both
            if share >= LEAST_LIKENESS:
                in_common.append((share, word))
    closest = (LEAST_LIKENESS, "")
    matcher = SequenceMatcher(b=name)
    for share, word in sorted(in_common, reverse=True):
        if share < closest[0]:
            break
        matcher.set_seq1(word)
        closest = max(closest, (matcher.ratio(), word))
    return closest[1]


def read_text(path: Path, largest_bytes: int = LARGEST_FILE_BYTES) -> str:
    """The whole text of a UTF-8 file of at most 5 MB, or as many bytes as said, without a byte order mark; raises
    BadInput."""
    return text_of(read_bytes(path, largest_bytes), str(path))


def read_bytes(path: Path, largest_bytes: int = LARGEST_FILE_BYTES) -> bytes:
    """All that is in a file of at most 5 MB, or as many bytes as said; raises BadInput."""

    def refuse(problem: str, expected: str = "", remedy: str = "") -> BadInput:
        return BadInput([Fault(str(path), "", problem, expected, remedy)])

    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise refuse("is a directory", "a file", "name a file inside it")
        if not stat.S_ISREG(state.st_mode):
            raise refuse("is not an ordinary file", "a file")
        if state.st_size > largest_bytes:
            raise refuse(f"holds {state.st_size / 1e6:.0f} MB", f"at most {largest_bytes / 1e6:.0f} MB")
        return path.read_bytes()
    except FileNotFoundError:
        raise refuse("there is no such file", remedy=_file_meant(path)) from None
    except (OSError, ValueError) as error:
        raise refuse(f"cannot be read ({getattr(error, 'strerror', None) or error})") from None


def text_of(content: bytes, name: str) -> str:
    """The text in a file's bytes, without a byte order mark; name is what messages call the file. Raises BadInput."""
    if b"\0" in content:
        raise BadInput([Fault(name, "", "holds NUL bytes, so it is no text file", "UTF-8 text")])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        found = f"line {line} is not UTF-8 text (byte 0x{content[error.start]:02x})"
        remedy = "save the file again with the encoding UTF-8"
        raise BadInput([Fault(name, "", found, "UTF-8 text", remedy)]) from None


def _file_meant(path: Path) -> str:
    try:
        return did_you_mean(path.name, sorted(entry.name for entry in path.parent.iterdir()))
    except (OSError, ValueError):
        return ""


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file; raises BadInput with the lines that cannot be read, and a cure for each."""
    return toml_of(read_text(path), str(path))


def toml_of(text: str, name: str) -> dict[str, Any]:
    """The tables of a TOML text; name is what messages call its file. Raises as read_toml."""
    if not text.strip():
        expected = "lines such as idle_rpm = 800 under headings such as [engine]"
        raise BadInput([Fault(name, "", "is empty", expected)])
    too_deep = BadInput([Fault(name, "", "is nested too deeply", "tables of keys and values")])
    if _DEEP_KEY.search(text):
        raise too_deep
    lines = text.replace("\r\n", "\n").split("\n")
    faults: list[Fault] = []
    while True:
        try:
            tables = tomllib.loads("\n".join(lines))
        except RecursionError:
            raise too_deep from None
        except ValueError as error:
            at = _line_at_fault(str(error), lines)
            faults.append(_unreadable(name, str(error), at, lines[at]))
            enough = len(faults) == MOST_LINES_AT_FAULT or len(text) > LARGEST_FILE_READ_AGAIN
            if enough or not _stands_alone(lines, at):
                raise BadInput(faults) from None
            lines[at] = ""
            continue
        if faults:
            raise BadInput(faults)
        return tables


def _line_at_fault(message: str, lines: list[str]) -> int:
    """Index of the line that tomllib means; where it only says that the file has ended, of the one left open."""
    if found := re.search(r"\(at line (\d+), column \d+\)$", message):
        return min(int(found[1]), len(lines)) - 1
    for index, line in enumerate(lines):
        if "Exceeds the limit" in message and any(len(run) > _MOST_DIGITS for run in re.findall(r"[\d_]+", line)):
            return index
    filled = [index for index, line in enumerate(lines) if line.strip()]
    opening = [index for index in filled if '"""' in lines[index]]
    return opening[-1] if "Unterminated" in message and opening else filled[-1]


def _unreadable(name: str, message: str, at: int, line: str) -> Fault:
    start = line[:500]
    by_message = (cure for words, cure in _CURES_BY_MESSAGE if message.startswith(words))
    by_look = (cure for look, cure in _CURES_BY_LOOK if look.match(start))
    cure = next(by_message, "") or next(by_look, "a line such as idle_rpm = 800")
    shown = start.strip()
    if len(shown) > MOST_OF_A_LINE_SHOWN:
        shown = shown[: MOST_OF_A_LINE_SHOWN - 3] + "..."
    return Fault(name, f"line {at + 1}", f"cannot be read, as it is not TOML: {shown}", cure)


def _stands_alone(lines: list[str], at: int) -> bool:
    """Whether the lines after this one can be judged without it."""
    line, following = lines[at], lines[at + 1] if at + 1 < len(lines) else ""
    opens_more = any(sign in line for sign in ("[", "]", "{", "}", '"""', "'''"))
    return bool(_KEY_LINE.match(line) and _NEW_START.match(following)) and not opens_more


def read_table(path: Path, largest_bytes: int = LARGEST_FILE_BYTES) -> Table:
    """The rows of a delimited text file under the headings of its first row; raises BadInput if it has none."""
    return table_of(read_text(path, largest_bytes), str(path))


def table_of(text: str, name: str) -> Table:
    """The rows of a delimited text; name is what messages call its file. Raises as read_table."""
    delimiter = delimiter_of(text)
    return table_of_rows(rows_of_text(text, delimiter, name), delimiter, name)


def table_of_rows(rows: Iterable[tuple[int, Sequence[str]]], delimiter: str, name: str) -> Table:
    """Rows by number, cells stripped, under the headings of the first that is no comment. Raises as read_table."""
    filled = [(number, cells) for number, cells in rows if any(cells) and not is_comment(cells)]
    if not filled:
        raise BadInput([Fault(name, "", "is empty", "a row of column headings, and rows below it")])
    (heading, columns), *body = filled
    if len(columns) > MOST_COLUMNS:
        found = f"has {len(columns)} columns in its heading"
        raise BadInput([Fault(name, f"row {heading}", found, f"at most {MOST_COLUMNS}")])
    faults = [
        Fault(name, f"row {heading}", f"has two columns {twice}", "each column once")
        for twice in sorted({column for column in columns if column and columns.count(column) > 1})
    ]
    all_named = all(columns)
    for number, cells in body:
        if not all_named or len(cells) > len(columns):
            faults += _beyond_headings(name, number, cells, columns)
    named = tuple(Row(number, _under_headings(cells, columns, delimiter)) for number, cells in body)
    return Table(tuple(filter(None, columns)), named, tuple(faults))


def delimiter_of(text: str) -> str:
    """What parts the cells of a table: what its first line, comments left out, holds most of."""
    filled = (line for line in text.splitlines() if line.strip())
    headings = (line for line in filled if not is_comment([re.split("[,;\t]", line)[0].strip(' "')]))
    return max(DELIMITERS, key=next(headings, "").count)


def is_comment(cells: Sequence[str]) -> bool:
    """Whether a row is there for whoever reads the file only.

    >>> is_comment(["# 2026, from May", ""]), is_comment(["#68", "drill"]), is_comment(["#", "Part"])
    (True, False, False)
    """
    return bool(cells) and bool(_COMMENT.match(cells[0]))


def rows_of_text(text: str, delimiter: str, name: str) -> list[tuple[int, list[str]]]:
    """Number and cells of every row."""
    try:
        records = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        return [(number, [cell.strip() for cell in record]) for number, record in enumerate(records, 1)]
    except csv.Error as error:
        raise BadInput(
            [Fault(name, "", f"is not a table: {error}", "one row a line, cells in pairs of quotes or none")]
        ) from None


def _beyond_headings(name: str, number: int, cells: Sequence[str], columns: Sequence[str]) -> list[Fault]:
    """The fault of a row with a cell that stands under no heading."""
    beyond = [cell for cell, column in zip_longest(cells, columns, fillvalue="") if cell and not column]
    if not beyond:
        return []
    return [
        Fault(name, f"row {number}", f"holds '{beyond[0][:40]}' under no heading",
              f"cells under the {sum(map(bool, columns))} headings only",
              "put a cell that holds the delimiter between double quotes")
    ]  # fmt: skip


def _under_headings(cells: Sequence[str], columns: Sequence[str], delimiter: str) -> dict[str, str]:
    """What a row says, by column; empty cells say nothing."""
    named = {column: cell for column, cell in zip(columns, cells, strict=False) if column and cell}
    if delimiter == ";":
        named = {column: with_decimal_point(cell) for column, cell in named.items()}
    return named


def with_decimal_point(cell: str) -> str:
    """Numbers of a semicolon table with a decimal point; text that is not wholly numbers stays.

    >>> with_decimal_point("0:0 5:1,1"), with_decimal_point("one, two")
    ('0:0 5:1.1', 'one, two')
    """
    return _DECIMAL_COMMA.sub(r"\1.\2", cell) if re.fullmatch(r"[\d\s,.:+-]+", cell) else cell
