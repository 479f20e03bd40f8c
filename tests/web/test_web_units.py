"""What is worked out or drawn behind a page is in the units that the workshop chose, as the page is."""

import asyncio
import re

from starlette.requests import Request

from configurator.units.showing import SHOWN, as_shown
from configurator.web.pictures import DrawnPicture, Pictures
from configurator.web.work import Searches

SAYS = "straight-0.80, 0.80 mm (31.5 thou)"


async def _stays() -> dict[str, str]:
    await asyncio.sleep(60)
    return {"type": "http.disconnect"}


async def worked_out() -> str:
    searches = Searches()
    try:
        request = Request({"type": "http"}, receive=_stays)
        return await searches.answer(request, "", lambda: as_shown(SAYS))
    finally:
        searches.close()


async def drawn() -> str:
    pencil = Pictures()
    try:
        return (await pencil._kept("a key", lambda: DrawnPicture("", as_shown(SAYS)))).says
    finally:
        pencil.close()


def test_a_search_and_a_drawing_are_in_the_units_of_the_workshop() -> None:
    chosen = SHOWN.set("inch")
    try:
        found = [asyncio.run(worked_out()), asyncio.run(drawn())]
    finally:
        SHOWN.reset(chosen)
    assert all(re.search(r"31\.5 thou \(0\.80 mm\)", says) for says in found), found
    assert asyncio.run(worked_out()) == SAYS
