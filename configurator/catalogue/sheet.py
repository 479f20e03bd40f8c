"""A supplier's spreadsheet as a table: CSV as the reader takes it, or the first sheet of an .xlsx.

What stands above the heading, a title or an address, is passed over where headings are known to look for.
"""

from collections.abc import Collection, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from configurator.errors import BadInput, Fault, TipinError
from configurator.files.reading import (
    DELIMITERS,
    MOST_COLUMNS,
    Table,
    delimiter_of,
    read_text,
    rows_of_text,
    table_of_rows,
)

INSTALL_XLSX = "pip install '.[xlsx]' in tipin's folder, into its environment; or save the sheet as CSV"
LARGEST_SHEET_BYTES = 20_000_000
MOST_SHEET_ROWS = 100_000
NumberedRows = list[tuple[int, list[str]]]


def read_sheet(path: Path, headings: Collection[str]) -> Table:
    """The rows of a spreadsheet below the first row that holds all these headings; without any, below the first row of
    several cells.

    Raises BadInput, and TipinError for an .xlsx where the library that reads it is missing.
    """
    if path.suffix.lower() == ".xlsx":
        return table_of_rows(_from_heading(_rows_of_xlsx(path), headings), "", str(path))
    text = read_text(path, LARGEST_SHEET_BYTES)
    lines = text.splitlines(keepends=True)
    looks = (all(name in line for name in headings) for line in lines)
    parted = (any(sign in line.strip(sign) for sign in DELIMITERS) for line in lines)
    first = next((at for at, found in enumerate(looks if headings else parted) if found), 0)
    delimiter = delimiter_of("".join(lines[first:]))
    return table_of_rows(_from_heading(rows_of_text(text, delimiter, str(path)), headings), delimiter, str(path))


def _from_heading(rows: NumberedRows, headings: Collection[str]) -> NumberedRows:
    """Rows from the heading on; all of them where none is like it."""
    wanted = set(headings)
    looks = (wanted <= set(cells) if wanted else sum(map(bool, cells)) > 1 for _, cells in rows)
    return rows[next((at for at, found in enumerate(looks) if found), 0) :]


def _rows_of_xlsx(path: Path) -> NumberedRows:
    """Number and cells of every row of the first sheet, values as text."""
    if find_spec("openpyxl") is None:
        raise TipinError(f"an .xlsx needs openpyxl: {INSTALL_XLSX}")
    from zipfile import BadZipFile

    from openpyxl import load_workbook

    try:
        if path.stat().st_size > LARGEST_SHEET_BYTES:
            problem = f"holds {path.stat().st_size / 1e6:.0f} MB"
            raise BadInput([Fault(str(path), "", problem, f"at most {LARGEST_SHEET_BYTES / 1e6:.0f} MB")])
        book = load_workbook(path, read_only=True, data_only=True)
        try:
            rows = book.worksheets[0].iter_rows(max_row=MOST_SHEET_ROWS, max_col=MOST_COLUMNS, values_only=True)
            return [(number, _texts(cells)) for number, cells in enumerate(rows, 1)]
        finally:
            book.close()
    except FileNotFoundError:
        raise BadInput([Fault(str(path), "", "there is no such file")]) from None
    except (BadZipFile, OSError, ValueError, KeyError, IndexError, TypeError, AttributeError, SyntaxError):
        problem, expected = "cannot be read as an .xlsx", "a spreadsheet saved as .xlsx or as CSV"
        raise BadInput([Fault(str(path), "", problem, expected)]) from None


def _texts(values: Sequence[Any]) -> list[str]:
    """Cells as text; a whole number that the sheet keeps as 12.0 is 12."""
    cells = ["" if value is None else f"{value:.10g}" if isinstance(value, float) else str(value) for value in values]
    return [cell.strip() for cell in cells]
