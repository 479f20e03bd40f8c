"""JSON lines as a table: an object a line, what is nested in it under the words that lead there."""

import json
from collections.abc import Iterator
from typing import Any

from configurator.errors import BadInput, Fault
from configurator.files.reading import MOST_COLUMNS, Row, Table

MOST_FAULTY_LINES = 20
DEEPEST = 5
OF_A_LIST = ("x", "y", "z")


def table_of_json_lines(text: str, name: str) -> Table:
    """The rows of a text; name is what messages call it. A list of three numbers is one of axes x, y and z. Raises
    BadInput for a text without one object.

    >>> table = table_of_json_lines('{"t": 0.1, "acc": {"x": 1}}\\n{"t": 0.2, "acc": [1, 2, 9.8]}', "a.jsonl")
    >>> table.columns, table.rows[1].cells["acc z"]
    (('t', 'acc x', 'acc y', 'acc z'), '9.8')
    """
    columns: dict[str, None] = {}
    rows: list[Row] = []
    faults: list[Fault] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or len(faults) >= MOST_FAULTY_LINES:
            continue
        try:
            read = json.loads(line)
        except (ValueError, RecursionError):
            read = None
        if not isinstance(read, dict):
            shown = line.strip()[:40]
            faults.append(Fault(name, f"row {number}", f"'{shown}' is no JSON object", "one object { } on each line"))
            continue
        cells = dict(_cells(read, "", DEEPEST))
        columns.update(dict.fromkeys(cells))
        if len(columns) > MOST_COLUMNS:
            expected = f"at most {MOST_COLUMNS}"
            raise BadInput([Fault(name, f"row {number}", f"has {len(columns)} kinds of values by here", expected)])
        rows.append(Row(number, cells))
    if not rows and not faults:
        raise BadInput([Fault(name, "", "is empty", "one JSON object on each line")])
    return Table(tuple(columns), tuple(rows), tuple(faults))


def _cells(value: Any, leading: str, deeper: int) -> Iterator[tuple[str, str]]:
    """Each value that is no object or list, as text, by the words that lead to it."""
    if isinstance(value, list) and len(value) == len(OF_A_LIST):
        value = dict(zip(OF_A_LIST, value, strict=True))
    if isinstance(value, dict) and deeper:
        for key, one in value.items():
            yield from _cells(one, f"{leading} {key}".strip(), deeper - 1)
    elif leading and isinstance(value, str | int | float) and not isinstance(value, bool):
        yield leading, str(value).strip()
