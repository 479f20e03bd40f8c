"""Plain words for slots, parts and sizes, as a card has them."""

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.slots.columns import Mount
from configurator.slots.options import Option
from configurator.slots.slot import SLOT_WORDS, Slot
from configurator.units.drills import INCH_MM
from configurator.units.units import show_diameter


def of_circuit(case: Case, circuit: str | None, what: str) -> str:
    """What it is called on this car: a circuit is named only where there are two."""
    return f"{circuit} {what}" if circuit and len(case.circuit_names) > 1 else what


def slot_words(case: Case, slot: Slot) -> str:
    return of_circuit(case, slot.circuit, SLOT_WORDS[slot.name])


def length(length_mm: float) -> str:
    """A length to read.

    >>> length(0.38), length(10.0)
    ('0.38 mm (0.015 in)', '10 mm (0.394 in)')
    """
    return f"{round(length_mm, 2):g} mm ({length_mm / INCH_MM:.3f} in)"


def part_words(option: Option) -> str:
    """Code of a part that is fitted, else the work or the part in words."""
    plain = option.code if option.work in ("none", "fit") and not isinstance(option.figures, Mount) else None
    return plain or option.label


def size_words(case: Case, option: Option) -> str:
    """Size of a part; empty where its words say it already."""
    figures = option.figures
    if isinstance(figures, FittedNozzle):
        return "" if option.work == "redrill" or not option.code else show_diameter(figures.diameter_mm)
    if isinstance(figures, FeedScrewFigures):
        return f"passage {figures.passage_area_mm2:g} mm2" + (", free flow" if figures.free_flow else "")
    if isinstance(figures, PumpFigures):
        return f"{figures.capacity_cc:g} cc a stroke"
    if isinstance(figures, Mount):
        return f"lift {length(figures.lobe.total_lift_mm)}"
    if isinstance(figures, float):
        return length(figures) if figures else ""
    spacer = case.catalog.spacers.get(option.code or "")
    return length(spacer.thickness_mm) if spacer else ""
