"""Pictures of a choice: drawn one at a time, kept for a while, each with what it shows in words."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from configurator.ordering.report import OrderReport
from configurator.slots.wishes import choose
from configurator.views.pictures import as_svg, money_picture, says_of_money
from configurator.views.vehicle_pictures import PICTURES
from configurator.web.bench_view import address
from configurator.web.guard import PRINTED_POLICY
from configurator.web.kept import KeptValues
from configurator.web.pages import is_part, page
from configurator.web.workshop import ChosenPins, Setting, Workshop

TITLES = {
    "pull": "Pull after the tip-in", "shot": "Shot against the demand", "mixture": "Mixture after the tip-in",
    "sizes": "What each nozzle size would be like", "lift": "Lift of the lobe",
}  # fmt: skip

_DARK = {"#ffffff": "#24211c", "#e0e0e0": "#3b372f", "#bfbfbf": "#5c564b", "#8c8c8c": "#857e70", "#4c4c4c": "#b9b1a2",
         "#000000": "#f0ece2"}  # fmt: skip
"""The greys of the pictures, each as the page's own colours have it in the dark."""
_IN_THE_DARK = " ".join(
    f'[{what}="{grey}"] {{ {what}: {dark}; }}' for grey, dark in _DARK.items() for what in ("fill", "stroke")
)
THEME = (
    '[fill="#ffffff"] { fill: #fffdf8; } @media (prefers-color-scheme: dark) { '
    f"svg {{ background: #24211c; fill: #f0ece2; }} {_IN_THE_DARK} }}"
)
"""What makes a picture part of the page: its sheet for white, and all in the dark."""


@dataclass(frozen=True)
class DrawnPicture:
    """A picture as SVG, and what it shows in words."""

    svg: str
    says: str


@dataclass(frozen=True)
class Placed:
    """Where a picture stands on the bench: its heading, the address of its part of a page, and of the file."""

    id: str
    title: str
    part: str
    file: str


class Pictures:
    """All drawing of one application."""

    def __init__(self) -> None:
        self._pencil = ThreadPoolExecutor(1, thread_name_prefix="pencil")  # matplotlib draws one thing at a time
        self._drawn: KeptValues[DrawnPicture] = KeptValues(256)

    async def of_choice(self, setting: Setting, pins: ChosenPins, what: str, circuit: str) -> DrawnPicture:
        """A picture of one circuit of a choice."""

        def draw() -> DrawnPicture:
            choice = choose(setting.case.options, pins.listed)
            figure, says = PICTURES[what](setting.case, circuit, choice, setting.known.belief)
            return DrawnPicture(as_svg(figure, says), says)

        return await self._kept((setting.key, pins.key, what, circuit, _runs(setting)), draw)

    async def of_money(self, report: OrderReport) -> tuple[str, str]:
        """The key by which the picture of an order can be asked for, and what it shows."""
        key = sha256(report.model_dump_json().encode()).hexdigest()
        drawn = await self._kept(key, lambda: DrawnPicture(as_svg(money_picture(report)), says_of_money(report)))
        return key, drawn.says

    def find(self, key: str) -> DrawnPicture | None:
        """A picture that was drawn a while ago."""
        return self._drawn.find(key)

    def close(self) -> None:
        self._pencil.shutdown(wait=False, cancel_futures=True)

    async def _kept(self, key: object, draw: Callable[[], DrawnPicture]) -> DrawnPicture:
        return await asyncio.wrap_future(self._pencil.submit(copy_context().run, self._drawn.get, key, draw))


def _runs(setting: Setting) -> int:
    return setting.known.belief.runs if setting.known.belief else 0


def shown_on_bench(workshop: Workshop, setting: Setting, pins: ChosenPins) -> list[Placed]:
    """Every picture of a choice, circuit by circuit."""
    version = sha256(repr((workshop.mark, setting.key, _runs(setting))).encode()).hexdigest()[:16]
    placed = []
    for circuit in setting.case.circuit_names:
        for what, title in TITLES.items():
            part = address(setting, pins.words, f"picture/{what}/{circuit}")
            file = address(setting, pins.words, f"picture/{what}/{circuit}/drawn.svg")
            file += ("&" if "?" in file else "?") + urlencode({"as": version})
            placed.append(Placed(f"picture-{what}-{circuit}", f"{title}, {circuit} circuit", part, file))
    return placed


def routes(workshop: Workshop, pictures: Pictures) -> list[Route]:
    return [
        Route("/car/{name}/picture/{what}/{circuit}", partial(_part, workshop, pictures)),
        Route("/car/{name}/picture/{what}/{circuit}/drawn.svg", partial(_file, workshop, pictures)),
        Route("/order/picture/{key}.svg", partial(_money, pictures)),
    ]


def _named(request: Request, setting: Setting) -> tuple[str, str]:
    """The picture and the circuit of an address, if there are such."""
    what, circuit = request.path_params["what"], request.path_params["circuit"]
    if what not in PICTURES or circuit not in setting.case.circuit_names:
        raise HTTPException(404, "There is no such picture.")
    return what, circuit


async def _part(workshop: Workshop, pictures: Pictures, request: Request) -> Response:
    setting, pins = await run_in_threadpool(workshop.asked, request.path_params["name"], request.query_params)
    what, circuit = _named(request, setting)
    placed = next(one for one in shown_on_bench(workshop, setting, pins) if one.id == f"picture-{what}-{circuit}")
    drawn = await pictures.of_choice(setting, pins, what, circuit)
    template = "picture_part.html" if is_part(request) else "picture.html"
    return page(template, setting=setting, picture=placed, says=drawn.says, back=address(setting, pins.words))


async def _file(workshop: Workshop, pictures: Pictures, request: Request) -> Response:
    setting, pins = await run_in_threadpool(workshop.asked, request.path_params["name"], request.query_params)
    drawn = await pictures.of_choice(setting, pins, *_named(request, setting))
    return _svg(drawn)


async def _money(pictures: Pictures, request: Request) -> Response:
    drawn = pictures.find(request.path_params["key"])
    if drawn is None:
        raise HTTPException(404, "That picture is no longer kept: plan the order again.")
    return _svg(drawn)


def _svg(drawn: DrawnPicture) -> Response:
    headers = {"content-security-policy": PRINTED_POLICY, "cache-control": "private, max-age=3600"}
    head, _, rest = drawn.svg.partition(">")
    return Response(f"{head}><style>{THEME}</style>{rest}", media_type="image/svg+xml", headers=headers)
