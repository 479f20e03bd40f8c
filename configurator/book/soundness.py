"""Whether a book is sound: what its rows do not agree on, beside what its database finds wrong."""

from collections.abc import Iterator

from pydantic import Field
from sqlalchemy import Connection, func, select

from configurator.book.schema import FITTINGS, STOCK, STOCK_MOVES, TRIALS
from configurator.reports import Answer

_CALLED = ((TRIALS, "runs"), (FITTINGS, "entries"), (STOCK_MOVES, "movements"))


class BookReport(Answer):
    """Answer of `tipin book check`, `backup` and `restore`."""

    book: str = Field(description="the book: a file, or the URL of a database without its password")
    runs: int = Field(description="runs in it, those undone too")
    entries: int = Field(description="entries of what is fitted, likewise")
    movements: int = Field(description="movements on the shelf")
    faults: list[str] = Field(description="what is wrong with it; empty where it is sound")
    file: str | None = Field(None, description="the copy that was made, or where the book before is kept now")


def faults_in_rows(connection: Connection) -> list[str]:
    """Numbers that are missing, and a shelf that is not the sum of its movements."""
    return [*_gaps(connection), *_shelf(connection)]


def row_counts(connection: Connection) -> dict[str, int]:
    """How many rows there are, as a report calls them."""
    return {name: connection.execute(select(func.count()).select_from(table)).scalar_one() for table, name in _CALLED}


def _gaps(connection: Connection) -> Iterator[str]:
    for table, called in _CALLED:
        count, most = connection.execute(select(func.count(), func.max(table.c.number)).select_from(table)).one()
        if count != (most or 0):
            yield f"{count} {called}, although the last has number {most}"


def _shelf(connection: Connection) -> Iterator[str]:
    sums = select(STOCK_MOVES.c.code, func.sum(STOCK_MOVES.c.change)).group_by(STOCK_MOVES.c.code)
    moved = {code: change for code, change in connection.execute(sums)}
    for code, quantity in sorted(
        (row[0], row[1]) for row in connection.execute(select(STOCK.c.code, STOCK.c.quantity))
    ):
        if quantity != moved.get(code, 0):
            yield f"the shelf holds {quantity} of {code}, and its movements add up to {moved.get(code, 0)}"
