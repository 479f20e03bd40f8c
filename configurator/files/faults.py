"""Faults in words from what pydantic found: where, what was found, what is expected, what was probably meant.

The bounds and units come from the declarations of the fields, so a message cannot disagree with the model.
"""

from collections.abc import Callable, Iterator
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from configurator.errors import BadSize, Fault
from configurator.files.declared import AsTyped, Record, allows, as_declared, bounds_of, unit_of
from configurator.files.reading import did_you_mean
from configurator.units.quantities import examples, meant

FaultPlace = tuple[str | int, ...]
MOST_FOUND_SHOWN = 60
_IN_OTHER_WORDS = {"automatic": "converter", "auto": "converter", "neutral": "free", "stick": "manual"}
_BOUNDS = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
_BEYOND = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")
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
        loc = _plain(item["loc"])
        if item["type"] == "too_short" and any(earlier[: len(loc)] == loc for earlier in faults):
            continue  # a list of which a value was at fault counts as shorter
        problem, expected, remedy = _what(item, model, loc)
        faults.setdefault(loc, Fault(file, place_of(loc), problem, expected, remedy))
    for loc in _misspelt(error, model):
        faults.pop(loc, None)
    return list(faults.values())


def _misspelt(error: ValidationError, model: type[BaseModel]) -> set[FaultPlace]:
    """Keys that are missing because another beside them, which is not known, is meant for them."""
    found = error.errors(include_url=False)
    missing = {item["loc"] for item in found if item["type"] == "missing"}
    unknown = [item["loc"] for item in found if item["type"] == "extra_forbidden"]
    meant = {
        (*loc[:-1], key) for loc in unknown for key in _keys_meant(str(loc[-1]), _model_at(model, _plain(loc)[:-1]))
    }
    return {_plain(loc) for loc in missing & meant}


def _plain(loc: FaultPlace) -> FaultPlace:
    """A path without the tags of alternatives."""
    return tuple(step for step in loc if not (isinstance(step, str) and step.startswith("(")))


def _keys_meant(key: str, table: type[BaseModel]) -> list[str]:
    says = did_you_mean(key, sorted(table.model_fields))
    return [known for known in table.model_fields if says == f"did you mean {known}?"]


def _what(item: Any, model: type[BaseModel], loc: FaultPlace) -> tuple[str, str, str]:
    """Problem, expectation and remedy of one of pydantic's findings."""
    kind, context, declared = item["type"], item.get("ctx", {}), _declared(model, loc)
    expected, found = expectation(declared), f"found {shown(item['input'])}"
    if declared and isinstance(item["input"], AsTyped):
        found += f", which is {item['input']:.4g} {unit_of(declared)}"
    if kind == "missing":
        says = declared.description if declared and declared.description != expected else ""
        return "is missing", with_examples(declared), says or ""
    if kind == "extra_forbidden":
        table, key = _model_at(model, loc[:-1]), str(loc[-1])
        if issubclass(table, Record) and key in table.gone:
            return "is a key no more", "", table.gone[key]
        if issubclass(table, Record) and key in table.in_other_units:
            return f"says the same as {table.in_other_units[key][0]}", "one of them", ""
        known = sorted(table.model_fields)
        meant = did_you_mean(key, known)
        return "is not known here", "" if meant else f"one of {', '.join(known)}", meant
    if kind == "literal_error":
        known = context["expected"].split("'")[1::2]
        return found, context["expected"], _choice_meant(str(item["input"]), known)
    if kind == "value_error":
        error = context["error"]
        if not isinstance(error, BadSize):
            error = _why_unread(model, loc, item["input"]) or error
        return _raised_by_us(error, found, with_examples(declared) if isinstance(error, BadSize) else expected)
    if kind in ("string_type", "model_type") and declared and get_args(declared.annotation):
        return found, expected, ""  # a code or a table: its description says so
    words = _IN_WORDS.get(kind, "").format(**context)
    remedy = _in_other_units(item["input"], declared) if kind in _BEYOND and declared else ""
    return found, expected if kind == "finite_number" and expected else words or expected or item["msg"], remedy


def _choice_meant(found: str, known: list[str]) -> str:
    """The choice that a word of the trade stands for, or the one it is nearest to."""
    word = _IN_OTHER_WORDS.get(found.strip().lower(), "")
    return f"did you mean {word}?" if word in known else did_you_mean(found, known)


def _in_other_units(found: Any, declared: FieldInfo) -> str:
    """What a plain number beyond its bounds was probably meant in; empty where no unit brings it within."""
    if isinstance(found, AsTyped) or not isinstance(found, int | float | str):
        return ""
    texts = meant(float(found), unit_of(declared), lambda figure: allows(declared, figure))
    return f"did you mean {' or '.join(map(quoted, texts))}?" if texts else ""


def _raised_by_us(error: Exception, found: str, expected: str) -> tuple[str, str, str]:
    """Our validators say what is wrong; one that judges several values together says what is expected too."""
    if isinstance(error, BadSize):
        return f"{found}: {error.problem}", error.accepted or expected, error.remedy
    problem, parted, own_expectation = str(error).partition("; expected ")
    return (problem, own_expectation, "") if parted else (f"{found}: {problem}", expected, "")


def shown(value: Any) -> str:
    """A value as found, short enough for a message.

    >>> shown("0.8 kg"), shown(True), shown(2.5)
    ("'0.8 kg'", 'true', '2.5')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, AsTyped):
        return shown(value.text)
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
    bounds = [f"{_BOUNDS[key]} {bound:g}" for key, bound in bounds_of(declared).items()]
    noun = "a whole number" if int in types else "a number"
    return " ".join(filter(None, [noun, " and ".join(bounds), unit_of(declared)]))


def with_examples(declared: FieldInfo | None) -> str:
    """What a field takes, and how it may be written in other units."""
    bounds = bounds_of(declared) if declared else {}
    ends = [next((bounds[key] for key in keys if key in bounds), None) for keys in (("gt", "ge"), ("lt", "le"))]
    if declared is None or None in ends:
        return expectation(declared)
    texts = examples(unit_of(declared), *(float(end) for end in ends if end is not None))
    return expectation(declared) + (f", or text such as {' or '.join(map(quoted, texts))}" if texts else "")


def _why_unread(model: type[BaseModel], loc: FaultPlace, found: Any) -> BadSize | None:
    """Why a text is no figure in the unit of its key; None where it has none, or is at fault otherwise."""
    table = _model_at(model, loc[:-1]) if loc and isinstance(loc[-1], str) else BaseModel
    if isinstance(found, str) and issubclass(table, Record):
        try:
            as_declared(table, str(loc[-1]), found)
        except BadSize as error:
            return error
    return None


def quoted(text: str) -> str:
    """
    >>> quoted("3.2 l")
    '"3.2 l"'
    """
    return f'"{text}"'


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
    return next(_models_in(declared.annotation), BaseModel) if declared else model
