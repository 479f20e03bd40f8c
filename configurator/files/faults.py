"""Faults in words from what pydantic found: where, what was found, what is expected, what was probably meant.

The bounds and units come from the declarations of the fields, so a message cannot disagree with the model.
"""

from collections.abc import Callable, Iterator
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from configurator.errors import BadSize, Fault
from configurator.files.declared import Record
from configurator.files.reading import did_you_mean

FaultPlace = tuple[str | int, ...]
MOST_FOUND_SHOWN = 60
_IN_OTHER_WORDS = {"automatic": "converter", "auto": "converter", "neutral": "free", "stick": "manual"}
_BOUNDS = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
_IN_WORDS = {
    "string_pattern_mismatch": "a code of lower case letters, digits, dots and hyphens",
    "string_type": "text between quotes",
    "model_type": "a table of keys and values",
    "dict_type": "a table of keys and values",
    "finite_number": "a finite number",
    "too_short": "{min_length} or more values",
    "too_long": "at most {max_length} values",
    "string_too_short": "{min_length} or more characters",
    "string_too_long": "at most {max_length} characters",
}


def faults_of(
    error: ValidationError, model: type[BaseModel], file: str, place_of: Callable[[FaultPlace], str]
) -> list[Fault]:
    """The faults of one validation of a model; place_of words a path of keys, tags of alternatives left out."""
    faults: dict[FaultPlace, Fault] = {}
    for item in error.errors(include_url=False):
        loc = tuple(step for step in item["loc"] if not (isinstance(step, str) and step.startswith("(")))
        if item["type"] == "too_short" and any(earlier[: len(loc)] == loc for earlier in faults):
            continue  # a list of which a value was at fault counts as shorter
        problem, expected, remedy = _what(item, model, loc)
        faults.setdefault(loc, Fault(file, place_of(loc), problem, expected, remedy))
    return list(faults.values())


def _what(item: Any, model: type[BaseModel], loc: FaultPlace) -> tuple[str, str, str]:
    """Problem, expectation and remedy of one of pydantic's findings."""
    kind, context, declared = item["type"], item.get("ctx", {}), _declared(model, loc)
    expected, found = expectation(declared), f"found {shown(item['input'])}"
    if kind == "missing":
        says = declared.description if declared and declared.description != expected else ""
        return "is missing", expected, says or ""
    if kind == "extra_forbidden":
        table, key = _model_at(model, loc[:-1]), str(loc[-1])
        if issubclass(table, Record) and key in table.gone:
            return "is a key no more", "", table.gone[key]
        known = sorted(table.model_fields)
        meant = did_you_mean(key, known)
        return "is not known here", "" if meant else f"one of {', '.join(known)}", meant
    if kind == "literal_error":
        known = context["expected"].split("'")[1::2]
        return found, context["expected"], _choice_meant(str(item["input"]), known)
    if kind == "value_error":
        return _raised_by_us(context["error"], found, expected)
    if kind in ("string_type", "model_type") and declared and get_args(declared.annotation):
        return found, expected, ""  # a code or a table: its description says so
    words = _IN_WORDS.get(kind, "").format(**context)
    remedy = _cc_meant(item["input"], context["gt"], declared) if kind == "greater_than" and declared else ""
    return found, expected if kind == "finite_number" and expected else words or expected or item["msg"], remedy


def _choice_meant(found: str, known: list[str]) -> str:
    """The choice that a word of the trade stands for, or the one it is nearest to."""
    word = _IN_OTHER_WORDS.get(found.strip().lower(), "")
    return f"did you mean {word}?" if word in known else did_you_mean(found, known)


def _cc_meant(found: Any, least: float, declared: FieldInfo) -> str:
    """What a volume too small for cubic centimetres would be if it was meant in litres; empty for anything else."""
    if _unit(declared) != "cc" or not isinstance(found, int | float) or not 1000 * found > least:
        return ""
    return f"did you mean {1000 * found:g}?"


def _raised_by_us(error: Exception, found: str, expected: str) -> tuple[str, str, str]:
    """Our validators say what is wrong; one that judges several values together says what is expected too."""
    if isinstance(error, BadSize):
        return f"{found}: {error.problem}", error.accepted, error.remedy
    problem, parted, own_expectation = str(error).partition("; expected ")
    return (problem, own_expectation, "") if parted else (f"{found}: {problem}", expected, "")


def shown(value: Any) -> str:
    """A value as found, short enough for a message.

    >>> shown("0.8 kg"), shown(True), shown(2.5)
    ("'0.8 kg'", 'true', '2.5')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    if isinstance(value, tuple):
        value = " ".join(map(str, value))  # a cell that lists its values
    try:
        text = repr(value) if isinstance(value, str) else str(value)
    except ValueError:  # an integer of more digits than Python will write
        return "a number of thousands of digits"
    return text if len(text) <= MOST_FOUND_SHOWN else text[: MOST_FOUND_SHOWN - 3] + "..."


def expectation(declared: FieldInfo | None) -> str:
    """What a field takes, from its type, bounds and unit; its description where that says more."""
    if declared is None:
        return ""
    types = set(_types_in(declared.annotation))
    if bool in types:
        return "yes or no (in a vehicle file true or false)"
    if not types & {int, float} or types & {tuple, dict} or any(_models_in(declared.annotation)):
        return declared.description or ""
    bounds = [
        f"{_BOUNDS[key]} {getattr(bound, key):g}"
        for bound in declared.metadata
        for key in _BOUNDS
        if hasattr(bound, key)
    ]
    noun = "a whole number" if int in types else "a number"
    return " ".join(filter(None, [noun, " and ".join(bounds), _unit(declared)]))


def _unit(declared: FieldInfo) -> str:
    extra = declared.json_schema_extra
    return str(extra.get("unit", "")) if isinstance(extra, dict) else ""


def _types_in(annotation: Any) -> Iterator[type]:
    """The plain types that an annotation is made of."""
    for candidate in (annotation, get_origin(annotation)):
        if isinstance(candidate, type):
            yield candidate
    for inner in get_args(annotation):
        yield from _types_in(inner)


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    return (found for found in _types_in(annotation) if issubclass(found, BaseModel))


def _declared(model: type[BaseModel], loc: FaultPlace) -> FieldInfo | None:
    """The declaration of the field that a path ends in, or of its list; None where keys are free."""
    declared = None
    for step in loc:
        if isinstance(step, int):
            continue
        declared = model.model_fields.get(step)
        model = (next(_models_in(declared.annotation), None) if declared else None) or BaseModel
    return declared


def _model_at(model: type[BaseModel], loc: FaultPlace) -> type[BaseModel]:
    declared = _declared(model, loc)
    return next(_models_in(declared.annotation)) if declared else model
