"""Draws where the gauge for the pad clearance goes: docs/pictures/pad-clearance.svg."""

from pathlib import Path

PLACE = Path(__file__).parents[1] / "docs" / "pictures" / "pad-clearance.svg"
INK, PALE, WIDTH, HEIGHT = "#1a1a1a", "#e8e8e8", 640, 360
UNDERSIDE_Y, PAD_Y, PUMP_Y = 150, 270, 225
"""Heights of the bowl's underside, the manifold pad and the lowest point of the pump's body."""


def picture() -> str:
    """The carburettor from the side: bowl, pump below it, pad, and the gauge between bowl and pad beside the pump."""
    shapes = [
        _box(60, 40, 300, UNDERSIDE_Y - 40, "float bowl", 210, 100),
        _box(360, 40, 120, PAD_Y - 90, "throttle body", 420, 110),
        f'<path d="M120 {UNDERSIDE_Y} h110 l-15 {PUMP_Y - UNDERSIDE_Y} h-80 z" fill="white" stroke="{INK}"/>',
        _text(175, UNDERSIDE_Y + 40, "pump"),
        _box(360, PAD_Y - 50, 120, 20, "", 0, 0),
        _box(340, PAD_Y - 30, 260, 30, "manifold", 470, PAD_Y - 9),
        _box(40, PAD_Y, 560, 40, "manifold pad", 320, PAD_Y + 26),
        _arrow(290, UNDERSIDE_Y, PAD_Y),
        _text(300, 200, "measure here:", "start"),
        _text(300, 218, "pad clearance", "start"),
        _arrow(95, PUMP_Y, PAD_Y, "4 3"),
        _text(50, 335, "Not from the pump's body down (dashed): the program takes off itself", "start"),
        _text(50, 352, "how far each pump stands below the bowl.", "start"),
    ]
    opening = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif"'
    says = "A gauge between the bowl's underside and the manifold pad, beside the pump"
    return "\n".join([f'{opening} font-size="15" role="img">', f"<title>{says}</title>", *shapes, "</svg>", ""])


def _box(x: int, y: int, width: int, height: int, word: str, word_x: int, word_y: int) -> str:
    box = f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="{PALE}" stroke="{INK}"/>'
    return box + (_text(word_x, word_y, word) if word else "")


def _text(x: int, y: int, word: str, anchor: str = "middle") -> str:
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="{INK}">{word}</text>'


def _arrow(x: int, top: int, bottom: int, dashes: str = "") -> str:
    """A line with a head at either end."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    line = f'<line x1="{x}" y1="{top}" x2="{x}" y2="{bottom}" stroke="{INK}" stroke-width="2"{dashed}/>'
    heads = [f'<path d="M{x} {tip} l-5 {by} h10 z" fill="{INK}"/>' for tip, by in ((top, 11), (bottom, -11))]
    return line + "".join(heads)


if __name__ == "__main__":
    PLACE.write_text(picture(), encoding="utf-8")
