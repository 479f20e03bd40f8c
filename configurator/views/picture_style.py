"""One look for all pictures, and how they become a file: ink on white paper, the same in print and to every eye.

Lines differ in dash and lightness, areas in hatch and lightness; colour carries nothing. A figure is as wide as a
phone, so its text is as large there as it says here. matplotlib keeps its settings and fonts for the whole process:
whoever draws or saves holds one lock and sets all of them, so threads and the user's own settings change nothing.
"""

import hashlib
import io
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from textwrap import wrap
from typing import Any, TypeAlias
from xml.sax.saxutils import quoteattr

from configurator.errors import BadInput, Fault, TipinError, one_line
from configurator.files.writing import write_whole
from configurator.units.showing import as_shown

Figure: TypeAlias = Any
"""A matplotlib.figure.Figure; the library is loaded only when something is drawn."""
Axes: TypeAlias = Any

FORMATS = (".svg", ".png")
WITHOUT_MATPLOTLIB = "drawing to a file needs matplotlib: pip install matplotlib, in tipin's environment"
WIDTH_IN = 5.4
"""Width of a figure with one picture: 389 points, a point for each pixel of a narrow phone."""
BESIDE_IN = 4.6
"""Width of each of two pictures beside each other."""
TITLE_PT = {WIDTH_IN: 372.0, 2 * BESIDE_IN: 280.0}
"""Room for a title above a plot, by the width of the figure."""
FRAME_IN = 0.9
"""Height of heading and key."""
LEFT_EDGE = 0.015
"""Where text begins, of a figure's width."""
PRINT_DPI = 220
MOST_LINES, MOST_CHARACTERS = 3, 80
FINER = 10
"""Text is measured so many times as large, where rounding to whole dots makes no odds."""
NO_BREAK = "\N{NO-BREAK SPACE}"
FONT = "DejaVu Sans"
"""The font that comes with matplotlib."""

INK, DARK, MIDDLE, LIGHT, PALE = "0.0", "0.3", "0.55", "0.75", "0.88"
HOUSE: Any = {
    "font.family": [FONT], "font.size": 10.0, "axes.titlesize": 9.5, "axes.labelsize": 10.0, "legend.fontsize": 9.5,
    "xtick.labelsize": 9.5, "ytick.labelsize": 9.5, "figure.titlesize": 11.0, "figure.titleweight": "bold",
    "axes.spines.top": False, "axes.spines.right": False, "axes.linewidth": 0.8,
    "axes.grid": True, "axes.axisbelow": True, "grid.color": PALE, "grid.linewidth": 0.6, "hatch.linewidth": 0.6,
    "legend.frameon": False, "legend.handlelength": 3.0, "legend.columnspacing": 1.5, "legend.borderaxespad": 0.2,
    "figure.constrained_layout.h_pad": 0.06, "figure.constrained_layout.w_pad": 0.08,
    "text.parse_math": False, "text.hinting": "none", "svg.fonttype": "path",
    "svg.hashsalt": "tipin", "savefig.facecolor": "white",
}  # fmt: skip
"""text.parse_math: a name may hold a dollar sign. svg.fonttype: paths print alike where the font is missing."""

_LOCK = threading.RLock()


@contextmanager
def house_style() -> Iterator[None]:
    """Hold matplotlib, with this style alone in force; raises TipinError where it is not installed."""
    try:
        import matplotlib
    except ImportError:
        raise TipinError(WITHOUT_MATPLOTLIB) from None
    with _LOCK, matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(HOUSE)
        yield


def new_figure(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """An empty figure; inside house_style."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_in, height_in), layout="constrained")


def panels(count: int, height_in: float, *, stacked: bool, one_height: bool = True) -> tuple[Figure, list[Axes]]:
    """A figure with so many plots on shared scales, beside each other or stacked; inside house_style.

    one_height : whether they share the upright scale, too.
    """
    rows, columns = (count, 1) if stacked else (1, count)
    width_in = WIDTH_IN if columns == 1 else BESIDE_IN * columns
    figure = new_figure(rows * height_in + FRAME_IN, width_in)
    plots = list(figure.subplots(rows, columns, sharex=True, sharey=one_height, squeeze=False).flat)
    for axes in plots:
        axes.tick_params(labelbottom=True, labelleft=True)
    return figure, plots


def laid_out(figure: Figure) -> Figure:
    """The figure with everything put in its place for good, whatever it is saved as and how often."""
    figure.get_layout_engine().execute(figure)
    figure.set_layout_engine("none")
    if figure.get_figwidth() == WIDTH_IN:
        for axes in figure.axes:
            place = axes.get_position()
            axes.set_title(axes.get_title("left"), loc="left", x=(LEFT_EDGE - place.x0) / place.width)
    return figure


def headed(figure: Figure, heading: str) -> None:
    figure.suptitle(heading, x=LEFT_EDGE, ha="left")


def titled(axes: Axes, *paragraphs: str | tuple[str, ...]) -> None:
    """Paragraphs above a plot in the units chosen, broken to its width, those of several parts between them where there
    is room; each may hold anything a file holds, with a question mark for what the font cannot write."""
    from matplotlib.font_manager import findfont, get_font

    font = get_font(findfont(FONT))
    font.set_size(HOUSE["axes.titlesize"], 72 * FINER)
    room_pt = TITLE_PT[axes.figure.get_figwidth()]
    lines: list[str] = []
    for paragraph in paragraphs:
        parts = [_drawable(font, part) for part in ((paragraph,) if isinstance(paragraph, str) else paragraph)]
        whole = [part.replace(" ", NO_BREAK) for part in parts] if len(parts) > 1 else parts
        lines += _broken(font, ", ".join(whole), room_pt)
    axes.set_title("\n".join(lines), loc="left")


def _drawable(font: Any, text: str) -> str:
    return "".join(letter if font.get_char_index(ord(letter)) else "?" for letter in one_line(as_shown(text)))


def _broken(font: Any, text: str, room_pt: float) -> list[str]:
    """A text as the few lines it has room for."""
    lines: list[str] = []
    for characters in range(MOST_CHARACTERS, 10, -1):
        lines = wrap(text, characters, max_lines=MOST_LINES, placeholder=" ...", break_on_hyphens=False)
        if all(_width_pt(font, line) <= room_pt for line in lines):
            break
    return lines


def _width_pt(font: Any, line: str) -> float:
    font.set_text(line)
    return float(font.get_width_height()[0] / 64 / FINER)


def key_below(figure: Figure, *plots: Axes, columns: int = 2) -> None:
    """One key for the plots of a figure, below, where it covers nothing."""
    key = {label: handle for axes in plots for handle, label in zip(*axes.get_legend_handles_labels(), strict=True)}
    figure.legend(key.values(), key.keys(), loc="outside lower left", ncols=columns)


def as_png(figure: Figure, dpi: float = PRINT_DPI) -> bytes:
    """The figure as a PNG file, the same bytes each time."""
    with house_style():
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=dpi)
        return out.getvalue()


def as_svg(figure: Figure, says: str = "") -> str:
    """The figure as one SVG element, to stand in a page or a file; the same text each time.

    says : what it shows in words, for those who do not see it. Ids begin with a mark of the picture's own, so several
    pictures may stand in one page; there are no style sheets or attributes, which a page may forbid.
    """
    with house_style():
        from matplotlib.backends.backend_svg import FigureCanvasSVG

        out = io.StringIO()
        canvas: Any = FigureCanvasSVG(figure)
        # Not by savefig, which goes through the whole figure once more beforehand
        canvas.print_svg(out, metadata=dict.fromkeys(("Date", "Creator", "Format", "Type")))
    return _fit_for_a_page(out.getvalue(), says)


def _fit_for_a_page(file: str, says: str) -> str:
    """matplotlib's SVG file as one element without comments, style sheet and style attributes, its ids made its own."""
    svg = re.sub(r"<!--.*?-->\s*|<defs>\s*<style.*?</defs>\s*", "", file[file.index("<svg ") :], flags=re.DOTALL)
    svg = re.sub(r'style="([^"]*)"', lambda found: _attributes(found[1]), svg)
    svg = re.sub(r"\s+", " ", svg).replace("> <", "><")
    needed = set(re.findall(r'(?:href="#|url\(#)([^")]+)', svg))
    svg = re.sub(r' id="([^"]+)"', lambda found: found[0] if found[1] in needed else "", svg)
    mark = "i" + hashlib.sha256(svg.encode()).hexdigest()[:8]
    svg = re.sub(r'( id="|href="#|url\(#)', rf"\g<1>{mark}-", svg)
    named = f'role="img" aria-label={quoteattr(one_line(as_shown(says)))}' if says else 'aria-hidden="true"'
    return svg.replace("<svg ", f'<svg {named} stroke-linejoin="round" stroke-linecap="butt" ', 1)


def _attributes(style: str) -> str:
    """Declarations of a style as attributes of their own.

    >>> _attributes("fill: none; stroke-width: 0.8")
    'fill="none" stroke-width="0.8"'
    """
    pairs = (declaration.partition(":") for declaration in style.split(";") if declaration.strip())
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, _, value in pairs)


def check_can_draw(path: Path) -> None:
    """Refuse a file that cannot be drawn before the work, not after.

    Raises BadInput for another ending than .svg or .png and for a missing folder, TipinError without matplotlib.
    """
    if path.suffix.lower() not in FORMATS:
        problem = f"cannot draw a '{path.suffix}' file"
        raise BadInput([Fault(str(path), "", problem, "a name that ends in .svg or .png")])
    if not path.parent.is_dir():
        raise BadInput([Fault(str(path), "", "its folder does not exist", "a folder that is there")])
    if find_spec("matplotlib") is None:
        raise TipinError(WITHOUT_MATPLOTLIB)


def save_picture(figure: Figure, path: Path, says: str = "") -> None:
    """Write a figure as SVG or PNG, by the ending, whole or not at all; raises as check_can_draw does, and BadInput
    where the file cannot be written."""
    check_can_draw(path)
    if path.suffix.lower() == ".svg":
        content = f'<?xml version="1.0" encoding="UTF-8"?>\n{as_svg(figure, says)}'.encode()
    else:
        content = as_png(figure)
    write_whole(path, content)
