"""What a form of the page sent: words, pins, files, and the key by which the same form sent twice is known."""

import re
from collections.abc import Mapping, Sequence
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


async def posted_with_files(
    request: Request, named: Sequence[str]
) -> tuple[dict[str, str], list[str], dict[str, SentFile]]:
    """The same, and the files of these fields; of a field where none was chosen there is none."""
    async with request.form(max_files=len(named), max_fields=MOST_FIELDS) as form:
        fields, files = text_fields(form), {}
        for name in named:
            chosen = form.get(name)
            if isinstance(chosen, UploadFile) and chosen.filename:
                files[name] = SentFile(chosen.filename, await chosen.read())
    return dict(fields), [value for key, value in fields if key == "pin"], files


def form_key(words: Mapping[str, str]) -> str:
    """The key of a form; raises BadInput for what comes from none."""
    key = words.get("key", "")
    if not _KEY.fullmatch(key):
        raise BadInput([Fault("What was sent", "", "comes from no form of this page", "", "send it from here")])
    return key
