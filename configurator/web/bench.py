"""The parts that can go into a vehicle, by where they stand, and what the present choice comes to."""

import secrets
from functools import partial
from typing import Any

from anyio import CapacityLimiter, to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.advice.comparison import compare
from configurator.slots.wishes import choose
from configurator.web import bench_view
from configurator.web.pages import is_part, page
from configurator.web.pictures import shown_on_bench
from configurator.web.workshop import OPEN, ChosenPins, Setting, Workshop

ATTENDED = CapacityLimiter(1)
"""Choices worked out at once: pure Python, so several threads would only wait for one another."""


def routes(workshop: Workshop) -> list[Route]:
    return [Route("/car/{name}/parts", partial(_bench, workshop))]


async def _bench(workshop: Workshop, request: Request) -> Response:
    return await to_thread.run_sync(_bench_now, workshop, request, limiter=ATTENDED)


def _bench_now(workshop: Workshop, request: Request) -> Response:
    setting, pins = workshop.asked(request.path_params["name"], request.query_params)
    opened = request.query_params.get("open", "")
    here = bench_view.address(setting, pins.words)
    if any(str(slot) in request.query_params for slot in setting.case.options) and not is_part(request):
        return RedirectResponse(here, 303)  # a form without script names each slot by itself
    # The script keeps the address in step with what is shown, so both stand in the page, the one asked for as it came.
    query = request.scope["query_string"].decode("latin-1")
    asked = request.scope["raw_path"].decode("latin-1") + (f"?{query}" if query else "")
    shown = _shown(workshop, setting, pins) | {"here": asked if opened else here, "asked": asked, "opened": opened}
    return page("live.html" if is_part(request) else "bench.html", headers={"vary": "HX-Request"}, **shown)


def _shown(workshop: Workshop, setting: Setting, pins: ChosenPins) -> dict[str, Any]:
    case, engine = setting.case, workshop.engine(setting)
    now = choose(case.options, pins.listed)
    combination = workshop.combination(setting, pins)
    fitted = workshop.combination(setting, OPEN)
    best, report = engine.best(pins.listed), engine.report(pins.listed)
    further = bench_view.further_steps(now, best)
    wrong, holding = bench_view.under_headings(combination.findings)
    card = bench_view.address(setting, pins.words, "card")
    return {
        "setting": setting, "vehicle": setting.filed.vehicle, "pins": pins.words,
        "verdict": bench_view.verdict(combination, further, report.clash, setting.known.felt_with(now).clean),
        "now": combination, "further": further,
        "take_too": bench_view.address(setting, bench_view.completed(pins, now, best)) if best and further else "",
        "clash": report.clash, "clash_reasons": bench_view.reasons(report.clash),
        "give_up": bench_view.ways_out(report.clash),
        "slots": bench_view.slot_views(setting, pins, report.slots, workshop.stock()),
        "wrong": wrong, "holding": holding,
        "compared": compare(setting.filed.vehicle.name, setting.case.engine, fitted, combination).figures,
        "told_cell": bench_view.told_cell, "pictures": shown_on_bench(workshop, setting, pins),
        "key": secrets.token_hex(16), "card": card, "run": bench_view.address(setting, pins.words, "run"),
        "pdf": f"{card}{'&' if '?' in card else '?'}format=pdf",
        "clear": bench_view.address(setting, {}),
    }  # fmt: skip
