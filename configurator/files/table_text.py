"""A delimited table changed in its own text: cells are set and rows added, and every other sign of it stays.

So comments, order, blanks, delimiter, line ends and a byte order mark are those of whoever keeps the file.
"""

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence

from configurator.files.reading import delimiter_of, is_comment, text_of, with_decimal_point

_BYTE_ORDER_MARK = "\ufeff"
_DECIMAL_COMMA_CELL = re.compile(r'"?[+-]?\d*,\d+"?')
_NUMBERS = re.compile(r"[\d\s.:+-]+")


class TableText:
    """The rows of a table that could be read, each as the text of its cells, by the number that the reader gives it."""

    def __init__(self, content: bytes, name: str) -> None:
        """name is what messages call the file; raises BadInput for bytes that are no text."""
        text = text_of(content, name)
        self._mark = _BYTE_ORDER_MARK if content.startswith(_BYTE_ORDER_MARK.encode()) else ""
        self._delimiter = delimiter_of(text)
        self._rows = [self._split(row) for row in self._source_of_rows(text)]
        self._line_end = next((cells[-1] for cells in self._rows if cells[-1]), "\n")
        plain = [[_plain(cell) for cell in cells[:-1]] for cells in self._rows]
        self._heading = next(at for at, cells in enumerate(plain) if any(cells) and not is_comment(cells))
        self.columns = plain[self._heading]
        below = (cell for cells in self._rows[self._heading + 1 :] for cell in cells[:-1])
        self._decimal_comma = self._delimiter == ";" and any(
            _DECIMAL_COMMA_CELL.fullmatch(cell.strip()) for cell in below
        )

    def content(self) -> bytes:
        """The file as it is now."""
        rows = (self._delimiter.join(cells[:-1]) + cells[-1] for cells in self._rows)
        return (self._mark + "".join(rows)).encode()

    def numbers_by(self, column: str) -> dict[str, int]:
        """Number of the first row with each cell that a column holds."""
        place, found = self.columns.index(column), dict[str, int]()
        for number, cells in enumerate(self._rows[self._heading + 1 :], self._heading + 2):
            if place < len(cells) - 1 and not is_comment([_plain(cells[0])]):
                found.setdefault(_plain(cells[place]), number)
        return found

    def cells_of(self, number: int) -> dict[str, str]:
        """What a row says by column, empty cells left out, as the reader takes it."""
        cells = map(_plain, self._rows[number - 1][:-1])
        named = {name: cell for name, cell in zip(self.columns, cells, strict=False) if name and cell}
        return {name: with_decimal_point(cell) for name, cell in named.items()} if self._delimiter == ";" else named

    def set_cells(self, number: int, cells: Mapping[str, str]) -> None:
        """Put something else into cells of a row; a column that is not there yet comes behind the others."""
        for column, text in cells.items():
            self._put(self._rows[number - 1], self._place_of(column), self._cell(text))

    def add_row(self, cells: Mapping[str, str]) -> int:
        """A row below all others; its number."""
        places = {self._place_of(column): text for column, text in cells.items()}
        if not self._rows[-1][-1]:
            self._rows[-1][-1] = self._line_end
        row = [self._cell(places.get(place, "")) for place in range(len(self.columns))]
        self._rows.append([*row, self._line_end])
        return len(self._rows)

    def _place_of(self, column: str) -> int:
        if column not in self.columns:
            self._put(self._rows[self._heading], len(self.columns), column)
            self.columns.append(column)
        return self.columns.index(column)

    def _put(self, row: list[str], place: int, cell: str) -> None:
        """Put a cell into a row, which may be shorter than its heading; its line end stays the last."""
        row[-1:-1] = [""] * (place + 1 - (len(row) - 1))
        row[place] = cell

    def _cell(self, text: str) -> str:
        """A cell that reads as this text."""
        if self._decimal_comma and _NUMBERS.fullmatch(text):
            text = text.replace(".", ",")
        written = io.StringIO()
        csv.writer(written, delimiter=self._delimiter, lineterminator="\r\n").writerow([text])
        return written.getvalue().removesuffix("\r\n") if text else ""

    def _source_of_rows(self, text: str) -> Iterator[str]:
        """The text of every row, which takes several lines where a cell does; raises as csv does, on what the reader
        refuses as well."""
        taken: list[str] = []

        def lines() -> Iterator[str]:
            for line in io.StringIO(text, newline=""):
                taken.append(line)
                yield line

        for _ in csv.reader(lines(), delimiter=self._delimiter, strict=True):
            yield "".join(taken)
            taken.clear()

    def _split(self, row: str) -> list[str]:
        """The cells of a row as they are written, and its line end."""
        cell = re.compile(rf'"(?:[^"]|"")*"|[^{self._delimiter}\r\n]*')
        cells, at = list[str](), 0
        while True:
            found = cell.match(row, at)
            assert found is not None  # it matches nothing at all, too
            cells.append(found[0])
            at = found.end() + 1
            if row[found.end() : at] != self._delimiter:
                return [*cells, row[found.end() :]]


def _plain(cell: str) -> str:
    """What a cell says, as the reader takes it."""
    text = cell[1:-1].replace('""', '"') if cell.startswith('"') else cell
    return text.strip()


def new_table(columns: Sequence[str]) -> bytes:
    """A table with a heading and no row."""
    return (",".join(columns) + "\n").encode()
