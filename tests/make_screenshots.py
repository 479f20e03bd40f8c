"""Make again the pictures of the local page in docs/pictures: `python tests/make_screenshots.py`.

They are taken from the running program; which states of the page they show is listed in SHOTS.
"""

import io
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from browser import DESK, HEIGHT, PHONE, WAIT_MS
from machine import CHROMIUM
from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright
from serving import EXAMPLES, Served, serving

PICTURES = Path(__file__).resolve().parent.parent / "docs" / "pictures"
COLOURS = 64
"""A page has few: a small file holds them."""
CONFLICT = "/car/roadster/parts?pin=front.pump%3Dpump-5cc"
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


def _log_runs(page: Page) -> None:
    for day, felt, strength in ((2, "stumble", "clear"), (3, "stumble", "faint")):
        page.goto("/car/van/run")
        page.locator(f"[for=felt-{felt}]").click()
        page.locator(f"[for=strength-{strength}]").click()
        page.locator("#more-of-it > summary").click()
        page.locator("#run-when").fill(f"2024-05-0{day} 10:15")
        page.locator("#run button").click()
        page.wait_for_url("**?recorded=*")
    expect(page.locator("#ladder")).to_be_visible()


def _fill_shelf(page: Page) -> None:
    for code, many in (("straight-0.80", 2), ("straight-0.85", 1), ("lobe-cairn", 1)):
        page.locator("#code").fill(code)
        page.locator("#number").fill(str(many))
        page.locator("#why").fill("from the spring order")
        page.get_by_role("button", name="Put on").click()
        expect(page.locator(".shelf")).to_contain_text(code)


def _send_recording(page: Page) -> None:
    page.locator("#pull-of-it > summary").click()
    page.get_by_label("Recording of the pull").set_input_files(EXAMPLES / "roadster-pull.csv")
    page.locator("#run button").click()
    page.wait_for_url("**?recorded=*")
    expect(page.locator("#ladder")).to_be_visible()


SHOTS: Mapping[str, Shot] = {
    "cars": Shot("/", PHONE, "header"),
    "car": Shot("/car/roadster/judged", PHONE, "header"),
    "car-wide": Shot("/car/roadster/judged", DESK, "header"),
    "log": Shot("/car/roadster/run?felt=stumble", PHONE, "header"),
    "ladder": Shot("/car/van", PHONE, "#ladder", _log_runs),
    "parts": Shot(CONFLICT, PHONE, "#choice"),
    "why-not": Shot(CONFLICT, PHONE, "[id='slot-front.lobe-shut']", _open_lobes),
    "shelf": Shot("/shelf", PHONE, "header", _fill_shelf),
    "measure": Shot("/car/roadster/measure", PHONE, "header"),
    "order": Shot("/order/plan?workshop=one-evening", DESK, "header"),
    "measured": Shot("/car/roadster/run", PHONE, "header", _send_recording),
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
