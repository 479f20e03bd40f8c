"""Fifty people at the page at once: `python tests/benchmarks/page_load.py [--clients 50] [--choices 20] [--pause 0]`.

Starts `tipin serve` on this machine, asks every vehicle once, and then lets all clients choose at random, with a fixed
seed, as the script of the page asks: first choosing alone, then each choice with all its pictures, drawn and in words.
It ends by itself; exit code 1 if a request fails or the median of choosing alone is over a second.
"""

import argparse
import os
import platform
import random
import re
import sys
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from html import unescape
from http.client import HTTPConnection, HTTPException
from itertools import chain
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter, sleep
from urllib.parse import urlencode, urlsplit

from tabulate import tabulate

sys.path.append(str(Path(__file__).resolve().parents[1]))
from serving import EXAMPLES, serving

SEED = 20
CARS = sorted(path.stem for path in EXAMPLES.glob("*.toml"))
MOST_MEDIAN_S = 1.0
GIVE_UP_AFTER_S = 120.0
MOST_PINS = 3
AS_SCRIPT = {"HX-Request": "true", "HX-Target": "live", "Accept": "text/html"}
RADIO = re.compile(r'<input type="radio" id="[^"]*" name="(?P<slot>[^"]+)" value="(?P<word>[^"]+)"(?P<rest>[^>]*)>')
PICTURE = re.compile(r'<figure id="[^"]*" hx-get="(?P<part>[^"]+)".*?<img src="(?P<file>[^"]+)"', re.DOTALL)

Parts = dict[str, dict[str, list[str]]]
"""Words of the parts that can be chosen, by vehicle and slot."""


@dataclass
class Measured:
    """Seconds of every request that was answered, and what went wrong."""

    seconds: list[float] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)


class Client:
    """One person with one connection, as a browser holds it."""

    def __init__(self, address: str, seed: int) -> None:
        self._connection = HTTPConnection(urlsplit(address).netloc, timeout=GIVE_UP_AFTER_S)
        self._chance = random.Random(seed)
        self.choosing, self.drawing = Measured(), Measured()

    def ask(self, path: str, measured: Measured, headers: dict[str, str]) -> str:
        """What is answered; nothing if it failed."""
        begin = perf_counter()
        try:
            self._connection.request("GET", path, headers=headers)
            answer = self._connection.getresponse()
            text = answer.read().decode()
        except (OSError, HTTPException) as error:
            self._connection.close()
            measured.failures.append(f"{path}: {error!r}")
            return ""
        if answer.status != 200:
            measured.failures.append(f"{path}: {answer.status}")
            return ""
        measured.seconds.append(perf_counter() - begin)
        return text

    def choose(self, parts: Parts, choices: int, pause_s: float, *, pictures: bool) -> None:
        """Some choices, one after the other, each after a pause of up to twice that long; each pins up to MOST_PINS
        slots of a vehicle."""
        for _ in range(choices):
            if pause_s:
                self._connection.close()  # opened anew by the next request: the server lets none lie idle for long
                sleep(self._chance.uniform(0.0, 2.0 * pause_s))
            car = self._chance.choice(CARS)
            slots = self._chance.sample(sorted(parts[car]), self._chance.randint(1, MOST_PINS))
            query = urlencode([(slot, self._chance.choice(parts[car][slot])) for slot in slots])
            shown = self.ask(f"/car/{car}/parts?{query}", self.choosing, AS_SCRIPT)
            if pictures:
                for found in PICTURE.finditer(shown):
                    self.ask(unescape(found["part"]), self.drawing, AS_SCRIPT)
                    self.ask(unescape(found["file"]), self.drawing, {"Accept": "image/*"})


def parts_on(page: str) -> dict[str, list[str]]:
    """What can be chosen on a bench, slot by slot; what is impossible has no button to press."""
    parts: dict[str, list[str]] = {}
    for radio in RADIO.finditer(page.partition('id="live"')[2]):
        if "disabled" not in radio["rest"]:
            parts.setdefault(radio["slot"], []).append(unescape(radio["word"]))
    return parts


def at_once(clients: Sequence[Client], work: Callable[[Client], None]) -> float:
    """Seconds until all clients are done with their work."""
    begin = perf_counter()
    with ThreadPoolExecutor(len(clients)) as threads:
        list(threads.map(work, clients))
    return perf_counter() - begin


def row(what: str, measured: Measured, seconds: float) -> list[str]:
    times = measured.seconds or [float("nan")]
    late = quantiles(times, n=20)[-1] if len(times) > 1 else times[0]
    return [what, f"{len(measured.seconds)}", f"{median(times):.3f} s", f"{late:.3f} s", f"{max(times):.3f} s",
            f"{len(measured.failures)}", f"{len(measured.seconds) / seconds:.1f} /s"]  # fmt: skip


def together(measured: Sequence[Measured]) -> Measured:
    return Measured(
        list(chain.from_iterable(one.seconds for one in measured)),
        list(chain.from_iterable(one.failures for one in measured)),
    )


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--clients", type=int, default=50)
    words.add_argument("--choices", type=int, default=20, help="of each client, without pictures")
    words.add_argument("--with-pictures", type=int, default=2, help="choices of each client with all their pictures")
    words.add_argument("--pause", type=float, default=0.0, help="mean seconds before each choice; a person needs some")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as place, serving(Path(place)) as served:
        first, started = Client(served.address, 0), perf_counter()
        parts = {car: parts_on(first.ask(f"/car/{car}/parts", first.choosing, {})) for car in CARS}
        warm = perf_counter() - started
        alone = [Client(served.address, SEED + number) for number in range(asked.clients)]
        alone_s = at_once(alone, lambda one: one.choose(parts, asked.choices, asked.pause, pictures=False))
        drawn = [Client(served.address, 2 * SEED + number) for number in range(asked.clients)]
        drawn_s = at_once(drawn, lambda one: one.choose(parts, asked.with_pictures, asked.pause, pictures=True))
    choosing = together([one.choosing for one in alone])
    rows = [row("choosing alone", choosing, alone_s)]
    rows.append(row("choosing, with pictures", together([one.choosing for one in drawn]), drawn_s))
    rows.append(row("its pictures", together([one.drawing for one in drawn]), drawn_s))
    everybody = [first, *alone, *drawn]
    failures = [failure for one in everybody for failure in one.choosing.failures + one.drawing.failures]
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; {asked.clients} clients, "
          f"{asked.pause:g} s between choices, "
          f"{len(CARS)} vehicles, first page of all {warm:.1f} s")  # fmt: skip
    heads = ["", "answered", "median", "95 %", "worst", "failed", "rate"]
    print(tabulate(rows, headers=heads, disable_numparse=True))
    print("\n".join(failures[:10]))
    return int(bool(failures) or not choosing.seconds or median(choosing.seconds) > MOST_MEDIAN_S)


if __name__ == "__main__":
    raise SystemExit(main())
