"""The pictures of the local page in its documentation: each is there, small, told in words, and can be taken again."""

import re
from pathlib import Path

import pytest
from browser import PHONE
from make_screenshots import PICTURES, SHOTS, add_meeting, photograph
from PIL import Image
from playwright.sync_api import Browser
from serving import Served

pytest_plugins = ["browser"]
PAGE = (PICTURES.parent / "page.md").read_text(encoding="utf-8")
SHOWN = {name: words for words, name in re.findall(r"!\[([^\]]+)\]\(pictures/([\w-]+)\.png\)", PAGE)}
MOST_BYTES = 150_000
LEAST_WORDS = 5


def test_every_picture_is_shown_and_told() -> None:
    assert set(SHOWN) == set(SHOTS) == {path.stem for path in PICTURES.glob("*.png")}
    pages = "".join(page.read_text(encoding="utf-8") for page in PICTURES.parent.glob("*.md"))
    drawn = re.findall(r"\(pictures/([\w-]+)\.svg\)", pages)
    assert set(drawn) == {path.stem for path in PICTURES.glob("*.svg")}
    assert all(len(words.split()) >= LEAST_WORDS for words in SHOWN.values())


@pytest.mark.parametrize("name", SHOTS)
def test_a_picture_is_small_and_shows_a_state_that_the_page_still_has(
    chromium: Browser, served: Served, tmp_path: Path, name: str
) -> None:
    kept = PICTURES / f"{name}.png"
    assert kept.stat().st_size < MOST_BYTES
    add_meeting(served)
    photograph(chromium, served, name, tmp_path / "again.png")
    with Image.open(kept) as shown, Image.open(tmp_path / "again.png") as again:
        assert shown.size == again.size and shown.width == SHOTS[name].width >= PHONE
