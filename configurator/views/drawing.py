"""Drawings as SVG that a page styles: elements and classes, no colour of their own; as wide as a phone, and its text
never below 12 px there."""

from collections.abc import Iterable, Iterator
from html import escape

WIDE = 358
"""Width of every drawing: of a phone of 390 px, less its margins."""


def element(name: str, kind: str = "", /, text: str = "", **marks: float | str) -> str:
    """One element of class kind. text : what is written in it, escaped. marks : attributes; _ stands for -.

    >>> element("text", "soft", "a < b", x=1.25, text_anchor="end")
    '<text class="soft" x="1.2" text-anchor="end">a &lt; b</text>'
    """
    said = {"class": kind} if kind else {}
    said |= {key.replace("_", "-"): _short(mark) for key, mark in marks.items()}
    words = "".join(f' {key}="{escape(mark)}"' for key, mark in said.items())
    return f"<{name}{words}>{escape(text)}</{name}>" if text else f"<{name}{words}/>"


def path(kind: str, points: Iterable[tuple[float, float]], *, closed: bool = False) -> str:
    """A line through points."""
    return element("path", kind, d="M" + " ".join(f"{_short(x)},{_short(y)}" for x, y in points) + "Z" * closed)


def key_of_lines(across: float, down: float, lines: Iterable[tuple[str, str, float]]) -> Iterator[str]:
    """What each line is, side by side. lines : class, words and how far it is to the next."""
    for kind, says, wide in lines:
        yield path(kind, [(across, down - 5), (across + 22, down - 5)])
        yield element("text", "soft" if kind in ("best", "tip-in") else kind, says, x=across + 28, y=down)
        across += wide


def drawing(says: str, high: float, elements: Iterable[str]) -> str:
    """All of it, told in words to whoever does not see it."""
    head = f'<svg class="drawing" viewBox="0 0 {WIDE} {_short(high)}" role="img" aria-label="{escape(says)}">'
    return "".join([head, *elements, "</svg>"])


def _short(mark: float | str) -> str:
    return mark if isinstance(mark, str) else f"{mark:.1f}".removesuffix(".0")
