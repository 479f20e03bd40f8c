"""The currency of a catalogue stands behind every price of the page, where one is named."""

import re
from dataclasses import replace
from datetime import date, timedelta
from html import unescape
from pathlib import Path

import pytest
from web_page import CATALOG, browser, page_of, workshop_in

from configurator.catalogue.settings import CatalogSetting
from configurator.web.folder import Folder
from configurator.web.workshop import Workshop

SOON = (date.today() + timedelta(days=7)).isoformat()
PRICE = re.compile(r"(?<![\w.-])\d+\.\d\d\b(?! ?(?:mm|cc|deg|in|cm3|s|ms|thou|to)\b)")
PAGES = {
    "parts": "/car/roadster/parts?pin=front.nozzle%3Dstraight-0.78&pin=front.pump%3Dpump-5cc",
    "order": f"/order/plan?car=roadster&day:roadster={SOON}&sure=60&one_supplier=yes&no_redrill=yes",
}


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("currency", ["GBP", ""])
def test_every_price_of_the_page_has_its_currency(name: str, currency: str, tmp_path: Path) -> None:
    plain = workshop_in(tmp_path / "cars", "roadster")
    named = {"currency": CatalogSetting(name="currency", value=currency)} if currency else {}
    catalog = replace(CATALOG, settings=named)
    client = browser(page_of(Workshop(Folder(tmp_path / "cars", catalog), catalog, plain.book)))
    answer = client.get(PAGES[name])
    assert answer.status_code == 200
    html = re.sub("<svg.*?</svg>|<(script|style).*?</\\1>", " ", answer.text, flags=re.DOTALL)
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())
    told = [text[found.end() : found.end() + 4] == " GBP" for found in PRICE.finditer(text)]
    assert told.count(True) > 2 if currency else not any(told)
    bare = [
        text[found.start() - 40 : found.end() + 20]
        for found, has in zip(PRICE.finditer(text), told, strict=True)
        if not has
    ]
    assert bool(bare) != bool(currency), bare
