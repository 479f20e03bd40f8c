"""What a form of the page sent: its words, its pins, a file, and the key by which the same form sent twice is known."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from starlette.datastructures import UploadFile
from starlette.requests import Request

from configurator.errors import BadInput, Fault
from configurator.web.fields import text_fields

MOST_FIELDS = 60
_KEY = re.compile(r"[0-9a-f]{32}", re.ASCII)


@dataclass(frozen=True)
class SentFile:
    """A file that was chosen in a form."""

    name: str
    content: bytes


async def posted(request: Request) -> tuple[dict[str, str], list[str]]:
    """The words of a form by their names, and its pins."""
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        fields = text_fields(form)
    return dict(fields), [value for key, value in fields if key == "pin"]


async def posted_with_file(request: Request, field: str) -> tuple[dict[str, str], list[str], SentFile | None]:
    """The same, and the file of a field; None where none was chosen."""
    async with request.form(max_files=1, max_fields=MOST_FIELDS) as form:
        fields, chosen = text_fields(form), form.get(field)
        file = None
        if isinstance(chosen, UploadFile) and chosen.filename:
            file = SentFile(chosen.filename, await chosen.read())
    return dict(fields), [value for key, value in fields if key == "pin"], file


def form_key(words: Mapping[str, str]) -> str:
    """The key of a form; raises BadInput for what comes from none."""
    key = words.get("key", "")
    if not _KEY.fullmatch(key):
        raise BadInput([Fault("What was sent", "", "comes from no form of this page", "", "send it from here")])
    return key
