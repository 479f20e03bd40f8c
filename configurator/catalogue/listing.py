"""The catalogue as rows of text, filtered by what the user asks for."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, nan
from typing import Any

from pydantic import Field

from configurator.catalogue.load import FAMILIES, Catalog, check_family
from configurator.catalogue.settings import price_text
from configurator.errors import BadInput, BadSize
from configurator.files.declared import unit_of
from configurator.files.reading import did_you_mean
from configurator.reports import Answer
from configurator.units.units import closeness_mm, parse_diameter_mm, parse_length_mm, show_size

SAME = 1e-6
_SIGNS: Mapping[str, Callable[[float], bool]] = {
    ">=": lambda excess: excess > -SAME,
    "<=": lambda excess: excess < SAME,
    ">": lambda excess: excess > SAME,
    "<": lambda excess: excess < -SAME,
    "=": lambda excess: abs(excess) < SAME,
}
"""What each sign asks of the value found less the value named."""
_TEST = re.compile(rf"([^<>=]*)({'|'.join(_SIGNS)})(.*)", re.DOTALL)


class PartsReport(Answer):
    """Answer of `tipin parts`: rows of one family, or one row a family."""

    family: str = Field(description="family listed, or families")
    rows: list[dict[str, str]] = Field(description="one entry a row, column to text")
    nearest: str = Field(default="", description="what comes nearest, if no row passes the tests")


@dataclass(frozen=True)
class _Test:
    """One comparison of a column; number is None where the column holds text."""

    column: str
    sign: str
    text: str
    number: float | None

    def passes(self, record: Any) -> bool:
        value = getattr(record, self.column)
        if self.number is None:
            return _cell(record, self.column).lower() == self.text.lower()
        if not _is_number(value):
            return False
        if self.sign == "=" and self.column == "diameter_mm":
            return bool(abs(value - self.number) < closeness_mm(self.text))
        return bool(_SIGNS[self.sign](value - self.number))


def list_parts(catalog: Catalog, family: str | None, tests: Sequence[str]) -> PartsReport:
    """Rows of a family that pass every test; without one, what there is. Raises BadInput for an unknown word."""
    if family is None:
        rows = [{"family": name, "rows": str(len(_rows(catalog, name)))} for name in FAMILIES]
        return PartsReport(family="families", rows=rows)
    check_family(family)
    every = list(_rows(catalog, family).values())
    filters = [_read_test(family, every, test) for test in tests]
    records = [record for record in every if all(test.passes(record) for test in filters)]
    columns = [name for name in FAMILIES[family].model_fields if any(_cell(record, name) for record in records)]
    rows = [{name: _cell(record, name, catalog.currency) for name in columns} for record in records]
    return PartsReport(family=family, rows=rows, nearest="" if rows else _nearest(every, filters))


def _rows(catalog: Catalog, family: str) -> Mapping[str, Any]:
    return catalog.limit_rows if family == "limits" else getattr(catalog, family)


def _cell(record: Any, name: str, currency: str = "") -> str:
    value = getattr(record, name)
    if value is None or value == ():
        return ""
    if name == "diameter_mm":
        return show_size(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(":".join(f"{x:g}" for x in item) if isinstance(item, tuple) else _plain(item) for item in value)
    if name == "price" or (currency and unit_of(type(record).model_fields[name]) == "currency"):
        return price_text(value, currency)
    return _plain(value)


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _read_test(family: str, records: Iterable[Any], test: str) -> _Test:
    parts = _TEST.fullmatch(test)
    if parts is None:
        signs = " ".join(_SIGNS)
        raise BadInput.in_field("where", test, "is no test", f"a column, one of {signs} and a value")
    column, sign, text = (part.strip() for part in parts.groups())
    known = list(FAMILIES[family].model_fields)
    if column not in known:
        problem, expected = f"{family} have no column {column}", f"one of {', '.join(known)}"
        raise BadInput.in_field("where", test, problem, expected, did_you_mean(column, known))
    if any(_is_number(getattr(record, column)) for record in records):
        return _Test(column, sign, text, _number(test, column, text))
    if sign != "=":
        raise BadInput.in_field("where", test, f"{column} holds no numbers", f"{column}=VALUE")
    return _Test(column, sign, text, None)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _number(test: str, column: str, text: str) -> float:
    """The number asked for, sizes in mm; raises BadInput."""
    try:
        if column.endswith("_mm"):
            return parse_diameter_mm(text) if column == "diameter_mm" else parse_length_mm(text)
        value = float(text)
    except BadSize as error:
        raise BadInput.in_field("where", test, error.problem, error.accepted, error.remedy) from None
    except ValueError:
        value = nan
    if not isfinite(value):
        raise BadInput.in_field("where", test, f"{column} is compared with '{text}'", "a number")
    return value


def _nearest(records: Sequence[Any], tests: Sequence[_Test]) -> str:
    """What there is near the first test that none of the rows passing all the others passes; empty if there is none."""
    for test in tests:
        others = [other for other in tests if other is not test]
        near = [record for record in records if all(other.passes(record) for other in others)]
        if not near:
            continue
        if test.number is None:
            return did_you_mean(test.text, sorted({_cell(record, test.column).lower() for record in near}))
        wanted = test.number
        held = {value for record in near if _is_number(value := getattr(record, test.column))}
        closest = sorted(held, key=lambda value: (abs(value - wanted), value))[:2]
        cells = {getattr(record, test.column): _cell(record, test.column) for record in near}
        return f"the nearest {test.column}: {' and '.join(cells[value] for value in sorted(closest))}" if held else ""
    return ""
