"""The line of a file that a fault lies in, looked for once a fault is told: the parser of TOML names none.

A small reading of headings and keys, also dotted ones and those of tables between braces; what stands in a text or a
list over several lines is passed over.
"""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from configurator.errors import BadInput, Fault, TipinError
from configurator.files.reading import did_you_mean, read_text

KeyPath = tuple[str | int, ...]
LONGEST_LINE_SHOWN = 100

_KEY = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_HEADING = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]")
_KEY_LINE = re.compile(rf"\s*({_DOTTED})\s*=\s*")
_MARKS = re.compile(rf"""\"{{3}}|'{{3}}|"(?:\\.|[^"\\\n])*"(?!\s*=)|'[^'\n]*'(?!\s*=)|\#.*|[][{{}},]|{_DOTTED}\s*=""")
_PLACE = re.compile(r"(?:\[\[?([^\]]+)\]\]?)?(?: number (\d+),?)?\s*(.*?)(?:, value \d+)?")
_ROW = re.compile(r"row (\d+)(?:, column .*)?")


def pointed(error: TipinError, texts: dict[str, str] | None = None) -> TipinError:
    """The same faults from top to bottom, each with its line where it lies in one. texts : those of files that lie
    nowhere, by name."""
    if not isinstance(error, BadInput):
        return error
    known = dict(texts or {})
    files = list(dict.fromkeys(fault.file for fault in error.faults))
    faults = [_pointed(fault, known) for fault in error.faults]
    return BadInput(sorted(faults, key=lambda fault: (files.index(fault.file), fault.line)))


def _pointed(fault: Fault, texts: dict[str, str]) -> Fault:
    if fault.line or not fault.file or not fault.place:
        return fault
    if fault.file not in texts:
        try:
            texts[fault.file] = read_text(Path(fault.file))
        except BadInput:
            texts[fault.file] = ""
    text = texts[fault.file]
    line = _line_of_row(text, fault.place) if fault.file.endswith(".csv") else _line_of_key(text, fault.place)
    if not line:
        return fault
    written = text.splitlines()[line - 1].strip()
    shown = written if len(written) <= LONGEST_LINE_SHOWN else written[: LONGEST_LINE_SHOWN - 3] + "..."
    return replace(fault, line=line, written=shown)


def _line_of_row(text: str, place: str) -> int:
    """Line in which a row of a table ends; 0 if the place names none."""
    row = _ROW.fullmatch(place)
    if row is None:
        return 0
    first = next((line for line in text.splitlines() if line.strip()), "")
    reader = csv.reader(text.splitlines(keepends=True), delimiter=max(",;\t", key=first.count))
    try:
        return next((reader.line_num for number, _ in enumerate(reader, 1) if number == int(row[1])), 0)
    except csv.Error:
        return 0


def _line_of_key(text: str, place: str) -> int:
    """Line of the key that a place names or of the first below it, of one nearly called so, or of the heading above; 0
    if there is none."""
    lines = lines_of_keys(text)
    path = _path_of(place)
    if path in lines or not path:
        return lines.get(path, 0)
    if below := [line for other, line in lines.items() if other[: len(path)] == path]:
        return min(below)
    table, key = path[:-1], str(path[-1])
    beside = {str(other[-1]): line for other, line in lines.items() if other[:-1] == table and len(other) == len(path)}
    meant = re.fullmatch(r"did you mean (.*)\?", did_you_mean(key, list(beside)))
    if meant and meant[1] in beside and len(key) > 7:
        return beside[meant[1]]
    while table and table not in lines:
        table = table[:-1]
    return lines.get(table, 0)


def _path_of(place: str) -> KeyPath:
    """The keys of a place in a file.

    >>> _path_of("[fitted.front] nozzle.diameter"), _path_of("[[vehicle]] number 2, day"), _path_of("name")
    (('fitted', 'front', 'nozzle', 'diameter'), ('vehicle', 1, 'day'), ('name',))
    """
    found = _PLACE.fullmatch(place)
    if found is None:
        return ()
    heading, number, keys = found.groups()
    above = heading.split(".") if heading else []
    return (*above, *([int(number) - 1] if number else []), *filter(None, keys.split(".")))


def lines_of_keys(text: str) -> dict[KeyPath, int]:
    """The line of every heading and key of a TOML text, by its path; of [[lists]] of tables with their place from 0.

    >>> lines_of_keys("a = 1\\n[b]\\nc.d = { e = 2 }\\n[[f]]\\ng = 3")
    {('a',): 1, ('b',): 2, ('b', 'c', 'd'): 3, ('b', 'c', 'd', 'e'): 3, ('f', 0): 4, ('f', 0, 'g'): 5}
    """
    found: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    lines = text.splitlines()
    at = 0
    while at < len(lines):
        number, line = at + 1, lines[at]
        at += 1
        if heading := _HEADING.match(line):
            table = _within_lists(_steps(heading[2]), counts)
            if heading[1] == "[[":
                counts[table] = counts.get(table, -1) + 1
                table = (*table, counts[table])
            found.setdefault(table, number)
        elif key := _KEY_LINE.match(line):
            path = (*table, *_steps(key[1]))
            found.setdefault(path, number)
            at = _value_ends(lines, number - 1, key.end(), path, found)
    return found


def _within_lists(path: KeyPath, counts: dict[KeyPath, int]) -> KeyPath:
    """A heading below a list of tables belongs to the last of them."""
    full: KeyPath = ()
    for place, step in enumerate(path):
        full = (*full, step)
        if full in counts and place < len(path) - 1:
            full = (*full, counts[full])
    return full


def _value_ends(lines: Sequence[str], at: int, start: int, path: KeyPath, found: dict[KeyPath, int]) -> int:
    """Index of the line after a value, the keys between its braces noted."""
    open_signs: list[KeyPath] = []
    inner, quotes = path, ""
    while at < len(lines):
        for mark in _marks(lines[at], start):
            if quotes or mark in ('"""', "'''"):
                quotes = "" if mark == quotes else quotes or mark
            elif mark in "[{":
                open_signs.append(inner)
            elif mark in "]}" and open_signs:
                inner = open_signs.pop()
            elif mark == "," and open_signs:
                inner = open_signs[-1]
            elif mark.endswith("=") and open_signs:
                inner = (*open_signs[-1], *_steps(mark[:-1]))
                found.setdefault(inner, at + 1)
        at, start = at + 1, 0
        if not quotes and not open_signs:
            break
    return at


def _marks(line: str, start: int) -> Iterator[str]:
    """Signs that open, close and part, and keys with their =; texts and comments are passed over."""
    for mark in _MARKS.finditer(line, start):
        if mark[0][0] not in "\"'#" or mark[0] in ('"""', "'''") or mark[0].endswith("="):
            yield mark[0]


def _steps(dotted: str) -> KeyPath:
    return tuple(step.strip().strip("\"'") for step in re.findall(_KEY, dotted))
