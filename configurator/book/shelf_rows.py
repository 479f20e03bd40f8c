"""The shelf as rows of the book: how many there are, and every movement that led to it."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from pydantic import ValidationError
from sqlalchemy import ColumnElement, Connection, select

from configurator.book.database import Refusal
from configurator.book.database_sayings import PUT_BACK
from configurator.book.entries import next_number
from configurator.book.schema import STOCK, STOCK_MOVES
from configurator.book.stock import MOST_OF_ONE, StockMove
from configurator.errors import BadInput

_BY_OTHERS = f"another program put it there: {PUT_BACK}"


def quantity_of(connection: Connection, code: str, refusal: Refusal) -> int:
    """How many of a part there are."""
    found = connection.execute(select(STOCK.c.quantity).where(STOCK.c.code == code)).scalar()
    return _whole(found or 0, code, refusal)


def quantities_in(connection: Connection, refusal: Refusal) -> dict[str, int]:
    """How many there are, by code; what has run out is left out."""
    rows = connection.execute(select(STOCK.c.code, STOCK.c.quantity).where(STOCK.c.quantity > 0)).all()
    found = {str(code): _whole(quantity, code, refusal) for code, quantity in rows}
    return dict(sorted(found.items()))  # each server has an alphabet of its own


def _whole(quantity: object, code: object, refusal: Refusal) -> int:
    """A number as the book wrote it; raises BadInput for what another program put there."""
    if not isinstance(quantity, int) or not 0 <= quantity <= MOST_OF_ONE:
        expected = f"a number from 0 to {MOST_OF_ONE}"
        raise refusal(f"the shelf holds {quantity!r:.40} of it", expected, _BY_OTHERS, str(code))
    return quantity


def moves_in(connection: Connection, refusal: Refusal, *which: ColumnElement[bool]) -> list[StockMove]:
    """Movements, oldest first: all, or those of which something holds."""
    wanted = select(STOCK_MOVES).where(*which).order_by(STOCK_MOVES.c.number)
    moves = []
    for row in connection.execute(wanted).mappings():
        kept = {name: value for name, value in row.items() if name != "entry_key"}
        try:
            moves.append(StockMove.model_validate(kept))
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            problem = f"its {first['loc'][0]} cannot be read ({first['msg']})"
            raise refusal(problem, remedy=_BY_OTHERS, at=f"movement {row['number']}") from None
    return moves


def moves_of_key(connection: Connection, key: str | None, codes: Sequence[str], refusal: Refusal) -> list[StockMove]:
    """What was booked with a key before; nothing where there is no key. Raises BadInput for a key that was used for
    other parts."""
    known = moves_in(connection, refusal, STOCK_MOVES.c.entry_key == key) if key else []
    if known and [move.code for move in known] != list(codes):
        raise BadInput.in_field("entry_key", key or "", f"stands for {known[0].code}", "one not used yet")
    return known


def book_moves(
    connection: Connection, changes: Mapping[str, int], why: str, key: str | None, refusal: Refusal
) -> list[StockMove]:
    """Movements by code; raises BadInput for more than there are."""
    return [_book(connection, code, change, why, key, refusal) for code, change in changes.items()]


def _book(connection: Connection, code: str, change: int, why: str, key: str | None, refusal: Refusal) -> StockMove:
    there = quantity_of(connection, code, refusal)
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
