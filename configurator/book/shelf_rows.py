"""The shelf as rows of the book: how many there are, and every movement that led to it."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, select

from configurator.book.database import Refusal
from configurator.book.entries import next_number
from configurator.book.schema import STOCK, STOCK_MOVES
from configurator.book.stock import MOST_OF_ONE, StockMove
from configurator.errors import BadInput


def quantity_of(connection: Connection, code: str) -> int:
    """How many of a part there are."""
    return connection.execute(select(STOCK.c.quantity).where(STOCK.c.code == code)).scalar() or 0


def quantities_in(connection: Connection) -> dict[str, int]:
    """How many there are, by code; what has run out is left out."""
    rows = connection.execute(select(STOCK.c.code, STOCK.c.quantity).where(STOCK.c.quantity > 0)).all()
    return {code: quantity for code, quantity in sorted(rows)}  # each server has an alphabet of its own


def moves_in(connection: Connection, *which: ColumnElement[bool]) -> list[StockMove]:
    """Movements, oldest first: all, or those of which something holds."""
    wanted = select(STOCK_MOVES).where(*which).order_by(STOCK_MOVES.c.number)
    return [_move_of(dict(row)) for row in connection.execute(wanted).mappings()]


def moves_of_key(connection: Connection, key: str | None, codes: Sequence[str]) -> list[StockMove]:
    """What was booked with a key before; nothing where there is no key. Raises BadInput for a key that was used for
    other parts."""
    known = moves_in(connection, STOCK_MOVES.c.entry_key == key) if key else []
    if known and [move.code for move in known] != list(codes):
        raise BadInput.in_field("entry_key", key or "", f"stands for {known[0].code}", "one not used yet")
    return known


def book_moves(
    connection: Connection, changes: Mapping[str, int], why: str, key: str | None, refusal: Refusal
) -> list[StockMove]:
    """Movements by code; raises BadInput for more than there are."""
    return [_book(connection, code, change, why, key, refusal) for code, change in changes.items()]


def _book(connection: Connection, code: str, change: int, why: str, key: str | None, refusal: Refusal) -> StockMove:
    there = quantity_of(connection, code)
    if there + change < 0:
        problem = f"{-change} of {code} cannot be taken: the shelf holds {there or 'none'}"
        raise refusal(problem, remedy="count the shelf to set right what is wrong")
    if there + change > MOST_OF_ONE:
        raise refusal(f"{there + change} of {code} on one shelf", f"at most {MOST_OF_ONE}")
    if connection.execute(select(STOCK).where(STOCK.c.code == code)).first() is None:
        connection.execute(STOCK.insert().values(code=code, quantity=0))
    connection.execute(STOCK.update().where(STOCK.c.code == code).values(quantity=STOCK.c.quantity + change))
    now = datetime.now(UTC).replace(microsecond=0)
    moved = StockMove(number=next_number(connection, STOCK_MOVES), at=now, code=code, change=change, why=why)
    connection.execute(STOCK_MOVES.insert().values(moved.model_dump() | {"at": now.isoformat(), "entry_key": key}))
    return moved


def _move_of(row: dict[str, Any]) -> StockMove:
    del row["entry_key"]
    return StockMove.model_validate(row)
