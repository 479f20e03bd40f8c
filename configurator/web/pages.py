"""How a page is made: templates with everything from outside escaped, and plain pages for what goes wrong."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse

from configurator.advice.belief_told import sure_percent
from configurator.advice.over_unknown import in_a_sentence
from configurator.catalogue.settings import price_text
from configurator.slots.slot import SLOT_WORDS, SLOTS
from configurator.units.showing import shown_value
from configurator.views.felt_signs import FELT_SIGNS
from configurator.views.order import order_verdict, what_for
from configurator.views.tables import CAUTIONS

_TITLES = {
    400: "That cannot be meant", 401: "This page asks for its token", 403: "Not from there", 404: "Not there",
    409: "Stopped", 413: "Too much at once", 500: "Something went wrong",
}  # fmt: skip
"""Of pages that say what went wrong, by status."""
_RULE = re.compile(r" \[[a-z-]+\]$")
_WRITTEN_SLOT = re.compile(r"\b(?:front|rear)\.[a-z_]+\b")
HERE = Path(__file__).resolve().parent


LABELS = {
    "word": "How it pulled", "strength": "How strongly", "moment": "When it was felt",
    "air_temperature_c": "Air at the carburettor",
    "altitude_m": "Height above the sea", "air_pressure_kpa": "Air pressure where the car is",
    "fuel": "Fuel in the tank", "clean_after_ms": "Foot down to a clean pull", "at": "When", "note": "Note",
    "with": "Part", "book": "Workshop book", "code": "Part", "number": "How many", "why": "Where from, or what for",
    "do": "What is done", "trace": "Mixture trace", "trace_lag": "Lag of the mixture sensor",
    "trace_column": "Which column is which", "pull": "Recording of the pull", "pull_column": "Which column is which",
}  # fmt: skip
"""The fields that faults speak of, as the page has them."""


def as_label(field: str, word: str) -> str:
    """A field with the word given for it.

    >>> as_label("at", "noon"), as_label("note", "")
    ('When, noon', 'Note')
    """
    return ", ".join(filter(None, [LABELS.get(field, field), word]))


def slot_name(written: str) -> str:
    """A slot as people say it.

    >>> slot_name("front.feed_screw"), slot_name("pad_relief")
    ('Front feed screw', 'Manifold pad')
    """
    slot = SLOTS.get(written)
    return f"{slot.circuit or ''} {SLOT_WORDS[slot.name]}".strip().capitalize() if slot else written


def without_rule(says: str) -> str:
    """A reason without the name of the rule that it comes from.

    >>> without_rule("with pump-3cc: too little [shot-is-large-enough]")
    'with pump-3cc: too little'
    """
    return _RULE.sub("", says)


def plain(says: str) -> str:
    """A sentence of the commands with its slots as people say them.

    >>> plain("front.feed_screw screw-wide, spacer spacer-6")
    'front feed screw screw-wide, spacer spacer-6'
    """
    return _WRITTEN_SLOT.sub(lambda found: slot_name(found[0]).lower(), says)


def car_path(name: str, *further: str) -> str:
    """Path of a vehicle's page, or of one below it."""
    return "/".join(["/car", quote(name, safe=""), *further])


def percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def number(value: float | None, digits: int = 0) -> str:
    return "–" if value is None else f"{value:.{digits}f}"  # noqa: RUF001


def day(at: datetime) -> str:
    """The day of a time of the book, where the page is served."""
    return f"{at.astimezone():%Y-%m-%d}"


_environment = Environment(
    loader=FileSystemLoader(HERE / "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
    lstrip_blocks=True, auto_reload=False, finalize=shown_value,
)  # fmt: skip
_environment.filters |= {
    "price": price_text, "percent": percent, "sure": sure_percent, "number": number, "slot_name": slot_name, "day": day,
    "drawn": Markup, "without_rule": without_rule, "plain": plain,
}  # fmt: skip
_environment.globals |= {
    "cautions": CAUTIONS,
    "car_path": car_path,
    "felt_signs": FELT_SIGNS,
    "in_a_sentence": in_a_sentence,
    "now": lambda: datetime.now(UTC),
    "what_for": what_for,
    "order_verdict": order_verdict,
}


def page(template: str, status: int = 200, headers: Mapping[str, str] | None = None, **shown: Any) -> HTMLResponse:
    """A page from a template and what it shows."""
    return HTMLResponse(_environment.get_template(template).render(shown), status, headers)


def trouble(status: int, says: str, headers: Mapping[str, str] | None = None) -> HTMLResponse:
    """A plain page for a request that cannot be answered; says may hold several lines."""
    return page(
        "trouble.html", status, headers, title=_TITLES.get(status, "That did not work"), lines=says.splitlines()
    )


def is_part(request: Request) -> bool:
    """Whether the script on a page asks for a part of it, and not a browser for the whole."""
    return "hx-request" in request.headers
