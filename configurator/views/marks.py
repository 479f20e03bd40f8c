"""Words that carry a meaning, with colour on a terminal that wants it; colour never carries it alone."""

import os
import sys

_COLOURS = {"NO": "31;1", "WARNING": "33", "NOTE": "36", "OK": "32", "YES": "32", "TRY": "32"}


def wants_colour() -> bool:
    """Whether standard output is a terminal that shows colour; the convention NO_COLOR is honoured."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def mark(word: str, width: int = 0) -> str:
    """A word padded to a width, coloured where that is wanted."""
    padded = word.ljust(width)
    code = _COLOURS.get(word)
    return f"\x1b[{code}m{padded}\x1b[0m" if code and wants_colour() else padded
