"""One movement on the shelf, as the book keeps it."""

from datetime import datetime

from configurator.files.declared import Code, Record, Whole, figure

MOST_OF_ONE = 100_000


class StockMove(Record):
    """One movement on the shelf; they are all kept."""

    number: Whole = figure("number in the book")
    at: datetime = figure("when, UTC")
    code: Code = figure("code of the part")
    change: Whole = figure("how many more; fewer where it is below zero")
    why: str = figure("what for", default="", max_length=500)
