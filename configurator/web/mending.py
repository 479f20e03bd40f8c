"""A vehicle file mended on the page: its lines at fault, each with what is wrong beside it, and the whole text."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from itertools import groupby

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.errors import BadInput, Fault, TipinError
from configurator.files.reading import text_of
from configurator.web.fields import text_fields
from configurator.web.folder import MOST_WRITTEN_BYTES, safe_stem
from configurator.web.pages import as_label, car_path, page
from configurator.web.workshop import Workshop

_PLACE = "/mend"
_LINE_FIELD = "line-"
MOST_MENDED_FIELDS = 200
_LINE = re.compile(r"line (\d{1,6})")


@dataclass(frozen=True)
class LineAtFault:
    """A line of a file, by its number from 1, with what is wrong in it; number 0 for what lies in none."""

    number: int
    written: str
    says: list[str]


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route(_PLACE, partial(_add, workshop), methods=["POST"]),
        Route("/car/{name}/file", partial(_shown, workshop)),
        Route("/car/{name}/file", partial(_mend, workshop), methods=["POST"]),
    ]


async def _shown(workshop: Workshop, request: Request) -> Response:
    name = request.path_params["name"]
    return await run_in_threadpool(_file, workshop, name)


def _file(workshop: Workshop, name: str) -> Response:
    kept = workshop.folder.written(name)
    faults: tuple[Fault, ...] = ()
    try:
        workshop.folder.check(f"{name}.toml", kept.text)
    except BadInput as error:
        faults = error.faults
    return mending_page(name, kept.text, faults, digest=kept.digest, place=car_path(name, "file"))


def refused_file(file_name: str, content: bytes, error: TipinError) -> Response | None:
    """A file that was sent and not taken, to be mended; None for one that is no text, or has no fault in it."""
    try:
        text = text_of(content, file_name)
    except BadInput:
        return None
    if not isinstance(error, BadInput) or not text.strip() or len(content) > MOST_WRITTEN_BYTES:
        return None
    return mending_page(safe_stem(file_name), text, error.faults, status=400)


def mending_page(
    name: str, text: str, faults: tuple[Fault, ...], *, digest: str = "", place: str = _PLACE, status: int = 200
) -> Response:
    """A text with what is wrong in it. digest : of the file in the folder, empty for one that is not there yet."""
    return page(
        "mend.html", status, name=name, text=text, digest=digest, place=place, at_fault=_lines_at_fault(text, faults)
    )


def _lines_at_fault(text: str, faults: tuple[Fault, ...]) -> list[LineAtFault]:
    lines = text.splitlines()
    found = sorted(faults, key=_line_of)
    return [
        LineAtFault(number, lines[number - 1] if 0 < number <= len(lines) else "", [_says(fault) for fault in there])
        for number, there in groupby(found, key=_line_of)
    ]


def _line_of(fault: Fault) -> int:
    found = _LINE.fullmatch(fault.place)
    return fault.line or (int(found[1]) if found else 0)


def _says(fault: Fault) -> str:
    """A fault without its file and line, which stand beside it."""
    place = "" if _LINE.fullmatch(fault.place) else fault.place
    return Fault("", place, fault.problem, fault.expected, fault.remedy).told(as_label)


async def _mend(workshop: Workshop, request: Request) -> Response:
    name, fields = request.path_params["name"], await _sent(request)
    return await run_in_threadpool(_mended, workshop, name, fields)


def _mended(workshop: Workshop, name: str, fields: Mapping[str, str]) -> Response:
    kept = workshop.folder.written(name)
    text = _with_lines(fields)
    content = (text.replace("\n", "\r\n") if "\r\n" in kept.text else text).encode()
    try:
        workshop.folder.mend(name, fields.get("digest", ""), content)
    except BadInput as error:
        place = car_path(name, "file")
        return mending_page(name, text, error.faults, digest=kept.digest, place=place, status=400)
    return RedirectResponse(car_path(name), 303)


async def _add(workshop: Workshop, request: Request) -> Response:
    fields = await _sent(request)
    return await run_in_threadpool(_added, workshop, fields)


def _added(workshop: Workshop, fields: Mapping[str, str]) -> Response:
    name, text = fields.get("name", ""), _with_lines(fields)
    try:
        added = workshop.folder.add(f"{name}.toml", text.encode())
    except BadInput as error:
        return mending_page(name, text, error.faults, status=400)
    return RedirectResponse(car_path(added.name), 303)


async def _sent(request: Request) -> dict[str, str]:
    async with request.form(max_files=0, max_fields=MOST_MENDED_FIELDS) as form:
        return dict(text_fields(form))


def _with_lines(fields: Mapping[str, str]) -> str:
    """The text as it was sent, each line that was mended by itself in its place."""
    lines = fields.get("text", "").replace("\r\n", "\n").split("\n")
    for name, written in fields.items():
        number = name.removeprefix(_LINE_FIELD)
        if name.startswith(_LINE_FIELD) and number.isascii() and number.isdecimal() and 0 < int(number) <= len(lines):
            lines[int(number) - 1] = written.replace("\r\n", "\n")
    return "\n".join(lines)
