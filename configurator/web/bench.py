"""The bench of one vehicle: every part by where it stands, and what the present choice comes to."""

import secrets
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from anyio import CapacityLimiter, to_thread
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.advice.comparison import compare
from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import proposal_of
from configurator.judging.feelings import MOMENT_SAYS, SYMPTOMS
from configurator.learning.trial_entry import says_little
from configurator.reports import ProposeReport
from configurator.slots.wishes import choose
from configurator.views.proposal import nothing_does
from configurator.web import bench_view
from configurator.web.pages import is_part, page
from configurator.web.pictures import shown_on_bench
from configurator.web.work import Searches
from configurator.web.workshop import OPEN, ChosenPins, Setting, Workshop

ATTENDED = CapacityLimiter(1)
"""Choices worked out at once: pure Python, so several threads would only wait for one another."""


def routes(workshop: Workshop, work: Searches) -> list[Route]:
    """The bench and what is asked for from it."""
    return [
        Route("/car/{name}", partial(_bench, workshop)),
        Route("/car/{name}/fewest", partial(_fewest, workshop, work)),
        Route("/car/{name}/next", partial(_next, workshop, work)),
    ]


async def _bench(workshop: Workshop, request: Request) -> Response:
    return await to_thread.run_sync(_bench_now, workshop, request, limiter=ATTENDED)


def _bench_now(workshop: Workshop, request: Request) -> Response:
    setting, pins = workshop.asked(request.path_params["name"], request.query_params)
    here = bench_view.address(setting, pins.words)
    if any(str(slot) in request.query_params for slot in setting.case.options) and not is_part(request):
        return RedirectResponse(here, 303)  # a form without script names each slot by itself
    # The script keeps the address in step with what is shown, so both stand in the page, the one asked for as it came.
    query = request.scope["query_string"].decode("latin-1")
    asked = request.scope["raw_path"].decode("latin-1") + (f"?{query}" if query else "")
    shown = _shown(workshop, setting, pins) | {"here": here, "asked": asked, "recorded": _recorded(setting, request)}
    return page("live.html" if is_part(request) else "bench.html", headers={"vary": "HX-Request"}, **shown)


def refused_run(
    workshop: Workshop, name: str, query: QueryParams, typed: Mapping[str, str], says: Sequence[str]
) -> Response:
    """The bench once more, with the form for a run as it was filled in and what is wrong with it."""
    setting, pins = workshop.asked(name, query)
    here = bench_view.address(setting, pins.words)
    shown = _shown(workshop, setting, pins) | {"here": here, "asked": here, "recorded": None}
    return page("bench.html", 400, **(shown | {"typed": typed, "refused": says}))


def _shown(workshop: Workshop, setting: Setting, pins: ChosenPins) -> dict[str, Any]:
    case, engine = setting.case, workshop.engine(setting)
    now = choose(case.options, pins.listed)
    combination = workshop.judged(setting, pins)
    fitted = workshop.judged(setting, OPEN)
    best, report = engine.best(pins.listed), engine.report(pins.listed)
    further = bench_view.further_steps(now, best)
    wrong, holding = bench_view.under_headings(combination.findings)
    card = bench_view.address(setting, pins.words, "card")
    return {
        "setting": setting, "vehicle": setting.filed.vehicle, "symptoms": SYMPTOMS.values(), "moments": MOMENT_SAYS,
        "pins": pins.words,
        "verdict": bench_view.verdict(combination, further, report.clash, setting.known.felt_with(now).clean),
        "now": combination, "further": further,
        "take_too": bench_view.address(setting, bench_view.completed(pins, now, best)) if best and further else "",
        "clash": report.clash, "clash_reasons": bench_view.reasons(report.clash),
        "give_up": bench_view.ways_out(report.clash),
        "slots": bench_view.slot_views(setting, pins, report.slots), "wrong": wrong, "holding": holding,
        "compared": compare(setting.filed.vehicle.name, setting.case.engine, fitted, combination).figures,
        "told_cell": bench_view.told_cell, "pictures": shown_on_bench(workshop, setting, pins),
        "belief": bench_view.belief_in_words(setting), "runs": bench_view.run_rows(setting.runs, setting),
        "key": secrets.token_hex(16), "typed": {}, "refused": (), "card": card,
        "pdf": f"{card}{'&' if '?' in card else '?'}format=pdf",
        "fewest": bench_view.address(setting, {}, "fewest"), "next": bench_view.address(setting, {}, "next"),
        "clear": bench_view.address(setting, {}),
    }  # fmt: skip


def _recorded(setting: Setting, request: Request) -> dict[str, Any] | None:
    """A run just recorded, with what to keep in mind about it."""
    number = request.query_params.get("recorded", "")
    run = next((run for run in setting.runs if str(run.number) == number), None)
    if run is None:
        return None
    return {"number": run.number, "notes": says_little(run)}


async def _fewest(workshop: Workshop, work: Searches, request: Request) -> Response:
    setting, _ = await run_in_threadpool(workshop.asked, request.path_params["name"], request.query_params)
    report = await work.answer(request, "", partial(_proposed, workshop, setting))
    if report.conflict is not None:
        back, nothing = bench_view.address(setting, {}), nothing_does(report.conflict)
        return page("no_way.html", setting=setting, report=report, nothing=nothing, back=back)
    labels = {change.slot: change.to for change in report.changes}
    return RedirectResponse(bench_view.address(setting, bench_view.pinned(labels, setting.case.options)), 303)


def _proposed(workshop: Workshop, setting: Setting) -> ProposeReport:
    """As `tipin propose` does it."""
    return proposal_of(setting.known, ProposalRequest(symptom=setting.symptom))


async def _next(workshop: Workshop, work: Searches, request: Request) -> Response:
    setting, _ = await run_in_threadpool(workshop.asked, request.path_params["name"], request.query_params)
    report = await work.answer(request, "", partial(workshop.next_run, setting))
    labels = {change.slot: change.to for change in report.changes}
    return page(
        "next_part.html" if is_part(request) else "next.html", setting=setting, report=report,
        belief=bench_view.told(report.belief), back=bench_view.address(setting, {}),
        try_it=bench_view.address(setting, bench_view.pinned(labels, setting.case.options)),
    )  # fmt: skip
