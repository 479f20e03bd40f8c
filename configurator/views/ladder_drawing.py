"""The ladder drawn: sizes as rungs, each run as a mark with its feeling's sign, the likely sizes shaded, the next one
ringed."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from configurator.advice.ladder import Ladder, RunMark
from configurator.units.showing import as_shown
from configurator.views.book import day_words
from configurator.views.drawing import WIDE, drawing, element, path
from configurator.views.felt_signs import felt_sign
from configurator.views.tables import counted

STEP, HEAD, LINE = 30.0, 8.0, 18.0
"""Height of a rung, of what stands above the first, and of a line of words."""
LEFT, MARK = 92.0, 17.0
"""Where the rungs begin, and the room of a mark."""
SIGN = 8.5
"""Room of a letter."""
MOST_MARKS = 4
"""Of one size: what is older is counted."""


def ladder_drawing(ladder: Ladder, now: datetime) -> str:
    """The ladder, its largest size on top."""
    wide = (WIDE - LEFT) / len(ladder.columns)
    titles = _titles(ladder, wide)
    head = HEAD + LINE * max(map(len, titles), default=0)
    places = {size: head + STEP * (place + 0.5) for place, size in enumerate(reversed(ladder.rungs_mm))}
    high = head + STEP * len(places) + 4
    elements: list[str] = []
    if ladder.likely_mm:
        low, top = (places[size] for size in ladder.likely_mm)
        across = LEFT + wide * (len(ladder.columns) - 1)
        elements.append(element("rect", "likely", x=across, y=top - STEP / 2, width=wide, height=low - top + STEP))
    for size, y in places.items():
        elements.append(element("text", "", as_shown(f"{size:.2f} mm"), x=0, y=y + 5))
        elements.append(path("rung", [(LEFT, y), (WIDE, y)]))
    for column, lines in enumerate(titles):
        elements += [
            element("text", "soft", words, x=LEFT + wide * column + 4, y=LINE * (place + 1) - 4)
            for place, words in enumerate(lines)
        ]
    for column in range(len(ladder.columns)):
        for size, y in places.items():
            elements += _at(ladder, column, size, y, LEFT + wide * column + 4, wide - 8, now)
    return drawing(says_of_ladder(ladder), high, elements)


def _at(ladder: Ladder, column: int, size: float, y: float, x: float, room: float, now: datetime) -> Iterator[str]:
    """What stands at one rung of one column."""
    here = [mark for mark in ladder.marks if mark.column == column and mark.diameter_mm == size]
    used = 0.0
    for mark in here[-MOST_MARKS:]:
        yield _mark(mark, x + used + MARK / 2, y)
        used += MARK
    last = column == len(ladder.columns) - 1
    rings = [("ring", "next")] if last and size == ladder.next_mm else []
    rings += [("ring end", "in the end")] if last and size == ladder.end_mm and not rings else []
    for kind, says in rings:
        yield element("circle", kind, cx=x + used + 12, cy=y, r=10)
        yield element("text", "next", says, x=x + used + 28, y=y + 5)
        used = room
    if here:
        more = f"+{len(here) - MOST_MARKS} " if len(here) > MOST_MARKS else ""
        says = more + day_words(here[-1].at, now, clock=False)
        if used + SIGN * len(says) < room:
            yield element("text", "soft", says, x=x + used + 4, y=y + 5)


def _mark(mark: RunMark, x: float, y: float) -> str:
    """A triangle up or down, a disc, a slope or a dash; hollow where it was faint."""
    side = felt_sign(mark.word).side
    kind = f"mark {side}{' faint' if mark.faint else ''}"
    if side == "right":
        return element("circle", kind, cx=x, cy=y, r=6)
    shapes: dict[str, Sequence[tuple[float, float]]] = {
        "flat": ((-6, -6), (7, 6), (-6, 6)), "smoke": ((-7, -5), (7, -5), (0, 7)),
        "dull": ((-6, -2), (6, -2), (6, 2), (-6, 2)),
    }  # fmt: skip
    shape = shapes.get(mark.word or "dull", ((-7, 6), (7, 6), (0, -6)))
    return path(kind, [(x + across, y + down) for across, down in shape], closed=True)


def _titles(ladder: Ladder, wide: float) -> list[list[str]]:
    """Above each column the parts that the columns differ in, as short as it is wide; nothing over one alone."""
    differ = [place for place, parts in enumerate(zip(*ladder.columns, strict=True)) if len(set(parts)) > 1]
    most = int(wide / SIGN)
    return [
        [words if len(words) <= most else f"{words[: most - 1]}…" for place in differ for words in _short(parts[place])]
        for parts in ladder.columns
    ]


def _short(label: str) -> list[str]:
    """A part without the name of its family, a lobe's angle below it.

    >>> _short("lobe-fell at 6 deg"), _short("screw-wide"), _short("pump-3cc")
    (['fell', '6 deg'], ['wide'], ['pump-3cc'])
    """
    return label.removeprefix("lobe-").removeprefix("screw-").split(" at ")


def says_of_ladder(ladder: Ladder) -> str:
    """The same in words."""
    said = [f"{counted(len(ladder.marks), 'run')} on the ladder of the {ladder.circuit} nozzle."]
    if ladder.likely_mm:
        low, high = ladder.likely_mm
        said.append(f"Likely right: {low:.2f} mm." if low == high else f"Likely right: {low:.2f} to {high:.2f} mm.")
    said += [f"Next: {ladder.next_mm:.2f} mm."] if ladder.next_mm else []
    said += [f"Expected in the end: {ladder.end_mm:.2f} mm."] if ladder.end_mm else []
    for mark in ladder.marks[-MOST_MARKS:]:
        said.append(f"Run {mark.number}, {mark.diameter_mm:.2f} mm: {felt_sign(mark.word).was}.")
    return as_shown(" ".join(said))
