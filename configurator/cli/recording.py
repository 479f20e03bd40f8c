"""Commands that change the book: what was done to it is said, whatever keeps the answer from being written."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Annotated

import typer

from configurator.errors import TipinError

RECORDED_UNSAID = 3
"""Exit code of a command that has changed the book, but could not give its answer."""

EntryKey = Annotated[
    str | None,
    typer.Option(
        "--entry-key", metavar="WORD", help="a word for this entry: given again with it, nothing is entered twice"
    ),
]


@contextmanager
def once_in_the_book(did: str) -> Iterator[None]:
    """Around everything that comes after the book was changed; did : what was done. Whatever fails here ends in an exit
    code of its own, so that nobody enters it again."""
    try:
        if sys.stdout is None:
            raise OSError("the output is closed")
        yield
    except (OSError, UnicodeError, TipinError, KeyboardInterrupt) as error:
        drop_output()
        why = getattr(error, "strerror", None) or str(error) or "it was broken off"
        print(f"tipin: {did}, but the answer could not be written ({why})", file=sys.stderr)
        raise typer.Exit(RECORDED_UNSAID) from None


def drop_output() -> None:
    """Let nothing more be written to an output that has failed once: the flush at the end would fail again."""
    with suppress(OSError, ValueError, AttributeError):  # one that is closed, or no file at all
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
