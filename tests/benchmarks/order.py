"""The parts order at 10 to 10,000 vehicles, beside general solvers: `python tests/benchmarks/order.py [--sizes 10 30]`.

Every workshop is made from a seed and planned in a process of its own: windows and needs first, then the order until
its own end, its gap to what it proves. A vehicle that no parts can make as sure as wanted wants what they can. Peers
get the same vehicles and market and stop at the gap asked for, or at the limit; no peer may be cheaper than what is
proven here, nor the other way round.
"""

import argparse
import json
import platform
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from math import inf, nan
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

import numpy as np
from loading import largest_mb
from made_workshop import BOOK, write_workshop
from peers_order import PEERS
from tabulate import tabulate

from configurator.book.book import open_book
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.ordering.boxes import BoxMaker
from configurator.ordering.cheapest import plan_order
from configurator.ordering.circuit_boxes import Prices
from configurator.ordering.columns import ColumnProgram
from configurator.ordering.job import job_of
from configurator.ordering.meeting import load_meeting
from configurator.ordering.plan import PurchaseWish, Wanted
from configurator.ordering.purchase import Market

GAPS = {10: 0.0, 30: 0.01, 100: 0.01, 1_000: 0.02, 10_000: 0.05}
"""Vehicles, and the gap that is asked for."""
PEERS_UP_TO = 1_000


def plan_once(vehicles: int, seed: int, peer: str, limit_s: float) -> dict[str, Any]:
    """What a process does: make the workshop, work its needs out, and plan it by the program or by a peer."""
    with tempfile.TemporaryDirectory() as folder:
        path = write_workshop(Path(folder), vehicles, seed)
        meeting, cars = load_meeting(path)
        catalog = load_catalog(shipped_catalog_dir())
        begin = perf_counter()
        job = job_of(meeting, cars, catalog, open_book(Path(folder) / BOOK), PurchaseWish(), redrill=True)
        before = perf_counter() - begin
    wanted = within_reach(job.wanted, job.market)
    proven: list[tuple[float, float]] = []
    begin = perf_counter()
    improved = ColumnProgram._improved

    def noted(program: ColumnProgram, *prices: Any) -> tuple[float, int]:
        bound, added = improved(program, *prices)
        proven.append((perf_counter() - begin, max(bound, proven[-1][1] if proven else bound)))
        return bound, added

    ColumnProgram._improved = noted  # type: ignore[method-assign, assignment]
    if peer:
        found = PEERS[peer](wanted, job.market, GAPS.get(vehicles, 0.01), limit_s)
        cost, bound = found.cost, found.bound
    else:
        plan = plan_order(wanted, job.market, job.wish)
        cost = inf if plan is None else plan.cost
        bound = inf if plan is None else plan.cost if plan.least is None else plan.least
    seconds = perf_counter() - begin
    return {"needs": before, "seconds": seconds, "cost": cost, "bound": bound, "mb": largest_mb(), "proven": proven}


def within_reach(wanted: Sequence[Wanted], market: Market) -> list[Wanted]:
    """The same, none wanting to be surer than any box makes it."""
    reach: dict[tuple[int, int], float] = {}
    for one in wanted:
        alike = (id(one.needs.circuits), one.enough)
        if alike not in reach:
            maker, free = BoxMaker(one.needs, market), Prices({}, {}, {})
            most = next((n for n in range(one.enough, 0, -1) if maker.best(free, n) is not None), 0)
            reach[alike] = one.sureness if most == one.enough else most / one.scenarios
    return [replace(one, sureness=reach[id(one.needs.circuits), one.enough]) for one in wanted]


def in_a_process(vehicles: int, seed: int, peer: str, limit_s: float) -> dict[str, Any]:
    arguments = [str(vehicles), str(seed), peer, str(limit_s)]
    done = subprocess.run([sys.executable, __file__, "--once", *arguments], check=True, capture_output=True, text=True)
    return json.loads(done.stdout.splitlines()[-1])  # type: ignore[no-any-return]


def gap_of(found: dict[str, Any]) -> float:
    cost, bound = found["cost"], found["bound"]
    return nan if cost == inf == bound else inf if cost == inf or bound == -inf else (cost - bound) / max(cost, 1.0)


def agree(own: dict[str, Any], other: dict[str, Any]) -> None:
    """Neither is cheaper than what the other has proven."""
    for one, another in ((own, other), (other, own)):
        assert one["cost"] >= another["bound"] * (1 - 1e-6) - 1, (own, other)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--sizes", type=int, nargs="+", default=list(GAPS))
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--seeds-of-peers", type=int, default=5)
    parser.add_argument("--peers", nargs="*", default=list(PEERS))
    parser.add_argument("--limit", type=float, default=60.0, help="seconds for a peer")
    parser.add_argument("--once", nargs=4, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.once:
        vehicles, seed, peer, limit = asked.once
        print(json.dumps(plan_once(int(vehicles), int(seed), peer, float(limit))))
        return
    print(f"{date.today()}, {platform.processor() or platform.machine()}, Python {platform.python_version()}\n")
    rows, sizes, seconds = [], [], []
    for vehicles in asked.sizes:
        found: dict[str, list[dict[str, Any]]] = {}
        for seed in range(asked.seeds):
            for peer in ("", *asked.peers):
                if not peer or (seed < asked.seeds_of_peers and vehicles <= PEERS_UP_TO):
                    found.setdefault(peer, []).append(in_a_process(vehicles, seed, peer, asked.limit))
                    agree(found[""][seed], found[peer][-1])
        sizes.append(vehicles)
        seconds.append(median(one["seconds"] for one in found[""]))
        rows += [_row(vehicles, peer or "tipin", each) for peer, each in found.items()]
        print(tabulate(rows[-len(found) :], headers=HEADERS, floatfmt=".3g"), flush=True)
        print(f"{_over_time(found[''][0])}\n", flush=True)
    if len(sizes) > 1:
        slope = np.polyfit(np.log(sizes), np.log(seconds), 1)[0]
        print(f"\nTime of the plan grows with vehicles to the power of {slope:.2f}.")


HEADERS = ("vehicles", "by", "seeds", "seconds", "longest", "gap", "widest gap", "at the gap asked", "needs, s", "MB")


def _over_time(found: dict[str, Any]) -> str:
    """How much of the first seed's cost was proven when; the order itself is there at the end."""
    proven = [(seconds, bound / found["cost"]) for seconds, bound in found["proven"] if 0 < bound <= found["cost"]]
    chosen = [proven[len(proven) * part // 4] for part in range(4)] if proven else []
    steps = [f"{100 * share:.3f} % after {seconds:.2g} s" for seconds, share in dict.fromkeys(chosen)]
    return f"Of the first seed's cost is proven {', '.join(steps)}; the order is there after {found['seconds']:.2g} s."


def _row(vehicles: int, name: str, found: list[dict[str, Any]]) -> tuple[Any, ...]:
    gaps = [gap for one in found if not np.isnan(gap := gap_of(one))]
    reached = sum(gap <= GAPS.get(vehicles, 0.01) + 1e-9 for gap in gaps)
    took = [one["seconds"] for one in found]
    return (
        vehicles, name, len(found), median(took), max(took), f"{100 * median(gaps):.3f} %" if gaps else "",
        f"{100 * max(gaps):.3f} %" if gaps else "", f"{reached} of {len(gaps)}",
        median(one["needs"] for one in found), round(max(one["mb"] for one in found)),
    )  # fmt: skip


if __name__ == "__main__":
    main()
