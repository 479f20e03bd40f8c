"""The catalogue as rows of text, filtered by what the user asks for."""

import operator
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from configurator.catalog import FAMILIES, Catalog
from configurator.errors import BadInput, BadSize, Fault
from configurator.read_files import did_you_mean
from configurator.reports import Report
from configurator.units import parse_length_mm, show_diameter

_TESTS: Mapping[str, Callable[[Any, Any], bool]] = {">=": operator.ge, "<=": operator.le, "=": operator.eq}
SAME = 1e-6


class PartsReport(Report):
    """Answer of `tipin parts`: rows of one family, or one row a family."""

    family: str
    rows: list[dict[str, str]]


def list_parts(catalog: Catalog, family: str | None, tests: Sequence[str]) -> PartsReport:
    """Rows of a family that pass every test; without one, what there is. Raises BadInput for an unknown word."""
    if family is None:
        rows = [{"family": name, "rows": str(len(_rows(catalog, name)))} for name in FAMILIES]
        return PartsReport(family="families", rows=rows)
    if family not in FAMILIES:
        known = list(FAMILIES)
        raise BadInput([Fault(family, "", "is no family", f"one of {', '.join(known)}", did_you_mean(family, known))])
    filters = [_read_test(family, test) for test in tests]
    records = [record for record in _rows(catalog, family).values() if all(passes(record) for passes in filters)]
    columns = [name for name in FAMILIES[family].model_fields if any(_cell(record, name) for record in records)]
    return PartsReport(family=family, rows=[{name: _cell(record, name) for name in columns} for record in records])


def _rows(catalog: Catalog, family: str) -> Mapping[str, Any]:
    return catalog.limit_rows if family == "limits" else getattr(catalog, family)


def _cell(record: Any, name: str) -> str:
    value = getattr(record, name)
    if value is None or value == ():
        return ""
    if name == "diameter_mm":
        return show_diameter(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(":".join(f"{x:g}" for x in item) if isinstance(item, tuple) else _plain(item) for item in value)
    return f"{value:.2f}" if name == "price" else _plain(value)


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _read_test(family: str, test: str) -> Callable[[Any], bool]:
    sign = next((sign for sign in _TESTS if sign in test), None)
    if sign is None:
        raise BadInput([Fault(f"--where {test}", "", "is no test", "COLUMN=VALUE, COLUMN>=VALUE or COLUMN<=VALUE")])
    column, _, text = (piece.strip() for piece in test.partition(sign))
    known = list(FAMILIES[family].model_fields)
    if column not in known:
        raise BadInput([Fault(f"--where {test}", "", f"{family} have no column {column}", f"one of {', '.join(known)}",
                              did_you_mean(column, known))])  # fmt: skip
    wanted = _value(column, text)
    compare = _TESTS[sign]

    def passes(record: Any) -> bool:
        value = getattr(record, column)
        if isinstance(value, int | float) and not isinstance(value, bool) and isinstance(wanted, float):
            return abs(value - wanted) < SAME if sign == "=" else compare(value, wanted)
        return compare(_cell(record, column).lower(), text.lower()) if sign == "=" else False

    return passes


def _value(column: str, text: str) -> float | str:
    try:
        if column.endswith("_mm"):
            from configurator.units import parse_diameter_mm

            return parse_diameter_mm(text) if column == "diameter_mm" else parse_length_mm(text)
        return float(text)
    except (BadSize, ValueError):
        return text
