"""What a form of the page sent: its words, its pins, and the key by which the same form sent twice is known."""

import re
from collections.abc import Mapping

from starlette.requests import Request

from configurator.errors import BadInput, Fault
from configurator.web.fields import text_fields

MOST_FIELDS = 60
_KEY = re.compile(r"[0-9a-f]{32}", re.ASCII)


async def posted(request: Request) -> tuple[dict[str, str], list[str]]:
    """The words of a form by their names, and its pins."""
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        fields = text_fields(form)
    return dict(fields), [value for key, value in fields if key == "pin"]


def form_key(words: Mapping[str, str]) -> str:
    """The key of a form; raises BadInput for what comes from none."""
    key = words.get("key", "")
    if not _KEY.fullmatch(key):
        raise BadInput([Fault("What was sent", "", "comes from no form of this page", "", "send it from here")])
    return key
