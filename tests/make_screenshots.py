"""Make again the pictures of the local page in docs/pictures: `python tests/make_screenshots.py`.

They are taken from the running program; which states of the page they show is listed in SHOTS.
"""

import io
import re
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from browser import DESK, HEIGHT, PHONE, WAIT_MS
from machine import CHROMIUM
from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright
from serving import Served, serving

PICTURES = Path(__file__).resolve().parent.parent / "docs" / "pictures"
COLOURS = 64
"""A page has few: a small file holds them."""
CONFLICT = "/car/roadster?pin=front.pump%3Dpump-5cc"
MEETING = """name = "Tarn Lane Garage, one evening"
today = 2026-05-04
sureness = 0.8

[[vehicle]]
file = "roadster.toml"
day = 2026-05-08
"""
"""Days that stay, so that the picture does, too."""


@dataclass(frozen=True)
class Shot:
    """A state of the page: where it is found, how wide it is, what stands at its top, and what is done before."""

    path: str
    width: int
    top: str
    do: Callable[[Page], None] = lambda page: None


def _open_lobes(page: Page) -> None:
    for name in ("slot-front.lobe", "slot-front.lobe-shut"):
        page.locator(f"[id='{name}'] > summary").click()


def _take_these_too(page: Page) -> None:
    page.locator("#take-too").click()
    expect(page.locator("#take-too")).to_have_count(0)
    for figure in page.locator(".pictures figure").all():
        figure.scroll_into_view_if_needed()
        expect(figure.get_by_role("img")).not_to_have_attribute("alt", re.compile("its own page says"))
        expect(figure.get_by_role("img")).not_to_have_js_property("naturalWidth", 0)


def _log_a_run(page: Page) -> None:
    page.locator("#log > summary").click()
    page.locator("#run-felt").select_option("stumble")
    page.locator("#run-when").fill("2024-05-04 10:15")
    page.locator("#run-note").fill("second gear, up Tarn Lane")
    page.locator("#run button").click()
    expect(page.locator("#runs table")).to_be_visible()


SHOTS: Mapping[str, Shot] = {
    "vehicles": Shot("/", PHONE, "header"),
    "bench": Shot(CONFLICT, DESK, "header"),
    "parts": Shot(CONFLICT, PHONE, "#choice"),
    "why-not": Shot(CONFLICT, PHONE, "[id='slot-front.lobe-shut']", _open_lobes),
    "delivers": Shot(CONFLICT, DESK, "#figures", _take_these_too),
    "runs": Shot("/car/van", PHONE, "#runs", _log_a_run),
    "order": Shot("/order/plan?workshop=one-evening", DESK, "header"),
}


def add_meeting(served: Served) -> None:
    """A workshop file beside the vehicles."""
    (served.folder / "one-evening.toml").write_text(MEETING, encoding="utf-8")


def photograph(chromium: Browser, served: Served, name: str, file: Path) -> None:
    """Bring the page into a state and take its picture."""
    shot = SHOTS[name]
    context = chromium.new_context(
        base_url=served.address, viewport={"width": shot.width, "height": HEIGHT}, device_scale_factor=1,
        color_scheme="light", reduced_motion="reduce", locale="en-GB", timezone_id="UTC",
    )  # fmt: skip
    context.set_default_timeout(WAIT_MS)
    page = context.new_page()
    page.goto(shot.path)
    shot.do(page)
    page.locator(shot.top).evaluate("top => top.scrollIntoView({ block: 'start', behavior: 'instant' })")
    expect(page.locator(shot.top)).to_be_in_viewport()
    taken = Image.open(io.BytesIO(page.screenshot(animations="disabled"))).convert("RGB")
    taken.quantize(COLOURS, dither=Image.Dither.NONE).save(file, optimize=True)
    context.close()


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    expect.set_options(timeout=WAIT_MS)
    with tempfile.TemporaryDirectory() as place, serving(Path(place)) as served, sync_playwright() as playwright:
        add_meeting(served)
        chromium = playwright.chromium.launch(executable_path=CHROMIUM)
        for name in SHOTS:
            photograph(chromium, served, name, PICTURES / f"{name}.png")


if __name__ == "__main__":
    main()
