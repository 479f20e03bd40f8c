"""An answer as it is read back before it is kept: as it was given, and what it was read as, metric and in inches."""

from contextlib import suppress

from configurator.car.questions import Question, as_written, ten_strokes
from configurator.car.vehicle import Vehicle
from configurator.errors import BadSize
from configurator.files.declared import as_declared, records_in, unit_of
from configurator.units.driveline import overall_ratio, tyre_radius_m
from configurator.units.quantities import read_quantity
from configurator.units.showing import in_both
from configurator.units.units import parse_diameter_mm


def understood(question: Question, answer: str) -> str:
    """What is kept of an answer that has no fault, or what is done without one.

    >>> from configurator.car.questions import QUESTIONS
    >>> asked = {one.key: one for one in QUESTIONS}
    >>> understood(asked["weight"], "3400"), understood(asked["gearbox"], "man")
    ('3400 kg (7,496 lb)', 'manual: a clutch')
    """
    means = question.meant(answer)
    if not means:
        return f"not known: {question.if_unknown}"
    if means in question.choices:
        return f"{means}: {question.choices[means]}"
    with suppress(BadSize):
        unit, readings = _read(question, means)
        read_as = ", ".join(readings)
        return f"{means}{unit}" + (f" ({read_as})" if read_as else "")
    return means


def _read(question: Question, means: str) -> tuple[str, list[str]]:
    """The unit that was not written, and what else a figure is; raises BadSize for what is no figure."""
    if question.key == "gears":
        overall = f"{overall_ratio(means):.4g} overall"
        return "", [] if means == overall else [overall]
    if question.key == "tyres" and (radius_m := tyre_radius_m(means)):
        return "", [f"a rolling radius of {' or '.join(in_both(1000 * radius_m, 'mm').values())}"]
    if question.key.endswith("_nozzle"):
        return _besides(as_written(means), parse_diameter_mm(means), "mm")
    if question.key.endswith("_pump"):
        cc = ten_strokes(means)
        return "", [f"{cc:g} cc in ten strokes"] if isinstance(cc, int | float) else []
    table, _, key = question.place.partition(".")
    field = Vehicle.model_fields.get(table)
    model = next(records_in(field.annotation), None) if field else None
    if model is None or key not in model.model_fields:
        return "", []
    written = question.written(means)[question.place]
    key, value = as_declared(model, key, written)
    unit = unit_of(model.model_fields[key])
    return _besides(written, float(value), unit) if unit and isinstance(value, int | float) else ("", [])


def _besides(written: object, value: float, unit: str) -> tuple[str, list[str]]:
    """The unit of a figure written without one, and the figure in the units that it was not written in."""
    texts = in_both(value, unit)
    if not isinstance(written, str):
        return f" {unit}", list(texts.values())[1:]
    number_drill = written.startswith("#")
    aside = "" if number_drill else read_quantity(written, unit).unit.name
    return "", [text for name, text in texts.items() if name != aside]
