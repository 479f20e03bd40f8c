"""Orders as the book keeps them: what each supplier sends, when that was asked for, and when it came."""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime

from sqlalchemy import Connection, select

from configurator.book.database import Database
from configurator.book.entries import next_number
from configurator.book.schema import ORDERS, PARCELS
from configurator.book.stock import StockMove
from configurator.files.declared import Code, Record, Whole, figure

LONGEST_ORDER_NAME = 200
MoveStock = Callable[[Connection, str, int, str], StockMove]
"""Books a change of how many of a code there are on the shelf, and why, in an open transaction."""


class Parcel(Record):
    """What one supplier sends of an order."""

    supplier: Code = figure("code of the supplier")
    sent_at: datetime | None = figure("when the order went to the supplier, UTC", default=None)
    arrived_at: datetime | None = figure("when its parts came, UTC", default=None)


class KeptOrder(Record):
    """An order of the book. record : the answer of the order, as text that its room can read."""

    number: Whole = figure("number in the book")
    at: datetime = figure("when it was kept, UTC")
    name: str = figure("what it is for", max_length=LONGEST_ORDER_NAME)
    record: str = figure("the order")
    parcels: tuple[Parcel, ...] = figure("what each supplier sends")

    def parcel(self, supplier: str) -> Parcel | None:
        """What a supplier sends of it; None where that is nothing."""
        return next((parcel for parcel in self.parcels if parcel.supplier == supplier), None)


class Orders:
    """The orders of an open book. Each method is one transaction, and raises BadInput with nothing changed."""

    def __init__(self, database: Database, move: MoveStock) -> None:
        self._database, self._move = database, move

    def all(self) -> list[KeptOrder]:
        """Every order, newest first."""
        return self._database.read(lambda connection: _orders_in(connection)[::-1])

    def order(self, number: int) -> KeptOrder:
        """One order; raises BadInput where there is none of this number."""
        return self._database.read(lambda connection: self._order(connection, number))

    def keep(self, name: str, record: str, suppliers: Sequence[str]) -> KeptOrder:
        """Put an order into the book; one that is there already stays the one it is."""

        def kept(connection: Connection) -> KeptOrder:
            known = connection.execute(select(ORDERS.c.number).where(ORDERS.c.record == record)).scalar()
            if known is not None:
                return self._order(connection, known)
            number = next_number(connection, ORDERS)
            values = {"at": _now(), "name": name[:LONGEST_ORDER_NAME], "record": record}
            connection.execute(ORDERS.insert().values(number=number, **values))
            for supplier in suppliers:
                connection.execute(PARCELS.insert().values(order_number=number, supplier=supplier))
            return self._order(connection, number)

        return self._database.change(kept)

    def sent(self, number: int, supplier: str) -> None:
        """Mark that the order went to a supplier; said again it stays when it was."""
        self._database.change(lambda connection: self._mark(connection, number, supplier, "sent_at"))

    def arrived(self, number: int, supplier: str, quantities: Mapping[str, int]) -> list[StockMove]:
        """Put on the shelf what came from a supplier, and mark it; said again nothing is booked once more."""

        def book(connection: Connection) -> list[StockMove]:
            if not self._mark(connection, number, supplier, "arrived_at"):
                return []
            why = f"order {number}, from {supplier}"
            return [self._move(connection, code, count, why) for code, count in quantities.items() if count]

        return self._database.change(book)

    def _order(self, connection: Connection, number: int) -> KeptOrder:
        found = next(iter(_orders_in(connection, number)), None)
        if found is None:
            raise self._database.refusal("there is no such order", "one of the list", at=f"order {number}")
        return found

    def _mark(self, connection: Connection, number: int, supplier: str, what: str) -> bool:
        """Whether it was not marked so before."""
        if self._order(connection, number).parcel(supplier) is None:
            raise self._database.refusal(f"nothing of it comes from {supplier}", at=f"order {number}")
        of_it = (PARCELS.c.order_number == number, PARCELS.c.supplier == supplier, PARCELS.c[what].is_(None))
        return bool(connection.execute(PARCELS.update().where(*of_it).values({what: _now()})).rowcount)


def _orders_in(connection: Connection, number: int | None = None) -> list[KeptOrder]:
    orders = select(ORDERS).order_by(ORDERS.c.number)
    parcels = select(PARCELS).order_by(PARCELS.c.order_number, PARCELS.c.supplier)
    if number is not None:
        orders, parcels = orders.where(ORDERS.c.number == number), parcels.where(PARCELS.c.order_number == number)
    sent: dict[int, list[Parcel]] = {}
    for row in connection.execute(parcels):
        parcel = Parcel(supplier=row.supplier, sent_at=row.sent_at, arrived_at=row.arrived_at)
        sent.setdefault(row.order_number, []).append(parcel)
    return [
        KeptOrder(
            number=row.number, at=row.at, name=row.name, record=row.record, parcels=tuple(sent.get(row.number, ()))
        )
        for row in connection.execute(orders)
    ]


def _now() -> str:
    return datetime.now(UTC).replace(microsecond=0).isoformat()
