"""Requests made up for every page: fields of its forms with values that nobody means, anything in the address.

None may lead to a fault of the program. `python tests/fuzz_pages.py 20000` asks so often; some hundred are in the
tests.
"""

import random
import re
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from urllib.parse import quote

from random_cars import FRONT, changed, random_car
from starlette.routing import Route
from starlette.testclient import TestClient
from toml_writing import toml
from web_page import ADDRESS, OWN_FORM, browser

from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.catalogue.own import new_catalog
from configurator.web.app import application
from configurator.web.folder import Folder
from configurator.web.guard import Guard
from configurator.web.pages import HERE
from configurator.web.workshop import Workshop

FEW = {"nozzles": ("straight-0.72", "straight-0.80", "straight-0.88"), "lobes": ("lobe-fell", "lobe-moor"),
       "pumps": ("pump-3cc",)}  # fmt: skip
ODD = (
    "", " ", "0", "-1", "1e400", "nan", "\u0663", "1_0", "9" * 400, "a" * 2000, "../../etc/passwd", "<b>&\"'", "a\x00b",
    "\u202e", "\U0001f527", "2026-05-04", "9999-12-31", "2026-13-45", "31 thou", "8,5", "none", "yes", "both", "clean",
    "front.nozzle=straight-0.88", "front.nozzle=", "=", "front.nozzle", "nobody.nozzle=x", "straight-0.80", "car",
    "north-shelf",
    "clear", "at-once", "smoke", "card", "100",
)  # fmt: skip
IN_ADDRESS = (*ODD, "1", "2", "car", "nozzles", "pull", "front", "straight-0.80", "engine_size", "ladder")
FIELD = re.compile(r'name="([a-z][a-z_.:]*)"')
NAMED = sorted({
    "pin", "key", "sheet", "token", "all", "find", "recorded", "entry", "open", "felt", "sure", "car", "day:car",
    "budget",
    *(name for path in (HERE / "templates").glob("*.html") for name in FIELD.findall(path.read_text(encoding="utf-8"))),
})  # fmt: skip
MEANT = (("felt", "stumble"), ("car", "car"), ("day:car", "2100-01-01"), ("key", "0" * 32), ("word", "stumble"))
LONG_WORK = ("/judged", "/ways", "/drawing", "/plan", "/card", "/order/keep")
"""Of pages that search only every so many requests are asked for."""
EVERY = 12


def small_workshop(place: Path) -> Workshop:
    """One car that is no example, and a catalogue of a few parts, the workshop's own."""
    new_catalog(parts := place / "parts")
    for family, codes in FEW.items():
        heading, *rows = (shipped_catalog_dir() / f"{family}.csv").read_text(encoding="utf-8").splitlines()
        kept = [row for row in rows if row.partition(",")[0] in codes]
        (parts / f"{family}.csv").write_text("\n".join([heading, *kept]) + "\n", encoding="utf-8")
    for family in ("offers", "kits"):
        (parts / f"{family}.csv").unlink()
    (cars := place / "cars").mkdir()
    figures = changed(random_car(3), "manifold", pad_clearance_mm=20.0)
    (cars / "car.toml").write_text(toml({"name": "car", **figures, "fitted": {"front": FRONT}}), encoding="utf-8")
    return Workshop(Folder(cars, catalog := load_catalog(parts)), catalog, str(place / "book.sqlite"))


def routes_of(page: Guard) -> list[tuple[str, str]]:
    """Every way to ask for every page: its method and its path, with the places of its parameters in braces."""
    found = [
        (method, one.path) for one in page._app.routes if isinstance(one, Route)  # type: ignore[attr-defined]
        for method in sorted((one.methods or set()) - {"HEAD"})
    ]  # fmt: skip
    assert len(found) > 40, "every room of the page has its routes"
    return found


def ask(client: TestClient, method: str, path: str, luck: random.Random) -> int:
    """One request; raises AssertionError where it leads to a fault of the program."""
    places = re.sub(r"\{(\w+)(:int)?\}", lambda found: _in_address(found[1], found[2] or "", luck), path)
    said = [(luck.choice(NAMED), luck.choice(ODD)) for _ in range(luck.randint(0, 6))]
    said += [one for one in MEANT if luck.random() < 0.5]
    words = {name: [value for other, value in said if other == name] for name, _ in said}
    if method == "GET":
        answer = client.get(places, params=words, headers={"hx-request": "true"} if luck.random() < 0.3 else {})
    else:
        files = (
            {luck.choice(("pull", "trace", "file")): ("a.csv", luck.choice(ODD).encode())}
            if luck.random() < 0.3
            else None
        )
        answer = client.post(places, data=words, files=files, headers=OWN_FORM)
    assert answer.status_code < 500 and "Traceback" not in answer.text, (method, places, words, answer.text[:300])
    return answer.status_code


def _in_address(name: str, kind: str, luck: random.Random) -> str:
    if kind:
        return luck.choice(("0", "1", "2", "7", "99999999999999999999"))
    if name == "name" and luck.random() < 0.7:
        return "car"
    return quote(luck.choice(IN_ADDRESS) or "x", safe="")


def asked_often(count: int, place: Path, seed: int = 1) -> Counter[tuple[str, int]]:
    """So many requests, and how they were answered, by the path that was asked for."""
    luck, workshop = random.Random(seed), small_workshop(place)
    page = application(workshop, ADDRESS)
    assert isinstance(page, Guard)
    routes, client, answered = routes_of(page), browser(page, follow=False), Counter[tuple[str, int]]()
    for number in range(count):
        method, path = luck.choice(routes)
        if any(part in path for part in LONG_WORK) and number % EVERY:
            continue
        answered[f"{method} {path}", ask(client, method, path, luck)] += 1
    return answered


def main() -> None:
    count, begun = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000, time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        answered = asked_often(count, Path(place))
    for (path, status), times in sorted(answered.items()):
        print(f"{times:8,}  {status}  {path}")
    print(
        f"{sum(answered.values()):,} requests in {time.monotonic() - begun:.0f} s: none led to a fault of the program"
    )


if __name__ == "__main__":
    main()
