"""What is typed into fields of the page, read as it stands: no sign that nobody sees, no figure that nobody meant."""

import re
from collections.abc import Iterable

from starlette.datastructures import FormData

from configurator.errors import BadInput, Fault

_NUMBER = re.compile(r"\s*([0-9]{1,12})(?:[.,]([0-9]{1,6}))?\s*")
_UNSEEN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
"""Signs that no key writes: they would end a text in one place and not in another."""


def text_fields(form: FormData) -> list[tuple[str, str]]:
    """The fields of a form that hold text, in its order. Raises BadInput for signs that cannot be seen."""
    fields = [(name, value) for name, value in form.multi_items() if isinstance(value, str)]
    _refuse_unseen(fields)
    return fields


def _refuse_unseen(fields: Iterable[tuple[str, str]]) -> None:
    faults = [
        Fault("", text[:40], "holds a sign that cannot be seen", "letters, digits and signs", field=name)
        for name, text in fields if _UNSEEN.search(name + text)
    ]  # fmt: skip
    if faults:
        raise BadInput(faults)


def number_typed(text: str) -> float | None:
    """A plain number of 0 or more as typed, with a point or a comma; None for anything else.

    >>> number_typed("90"), number_typed(" 99,5 "), number_typed("9_0"), number_typed("1e1"), number_typed("nan")
    (90.0, 99.5, None, None, None)
    """
    found = _NUMBER.fullmatch(text)
    return float(f"{found[1]}.{found[2] or 0}") if found else None
