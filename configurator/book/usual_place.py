"""Where the book is if nobody names another place: looked at before a database is loaded, which takes its time."""

import os
from pathlib import Path

BOOK_VARIABLE = "TIPIN_BOOK"


def named_place(place: str | None) -> str | None:
    """The place named, or what TIPIN_BOOK names."""
    return place or os.environ.get(BOOK_VARIABLE) or None


def place_of_book(place: str | None = None) -> str:
    """Where the book is: the place named, else what TIPIN_BOOK names, else a file in the platform's folder for data."""
    if named := named_place(place):
        return named
    from platformdirs import user_data_path

    return str(user_data_path("tipin", appauthor=False) / "workshop-book.sqlite")


def may_be_there(place: str | None) -> bool:
    """Whether it is worth looking for a book: one is named, or the usual file is there."""
    return named_place(place) is not None or Path(place_of_book()).exists()
