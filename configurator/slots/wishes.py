"""What the user wants kept, wants fitted or will not have, as sets of options.

keep   SLOT            front.pump, pump (of every circuit), front (all its slots), spacer
with   SLOT=WHAT       a code, a size for a nozzle (0.85mm, 31thou, #68), redrill:SIZE, CODE@PHASE or a phase for a
                       lobe, "none" for a spacer, a depth for pad_relief, "fitted" for what is in now; nozzle=0.85mm
                       where there is one circuit
avoid  WHAT            redrill, relief, straight or aimed nozzles, a slot (as keep), or a part's code
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import get_args

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import NozzleStyle
from configurator.errors import BadInput, BadSize, Fault
from configurator.files.reading import did_you_mean
from configurator.slots.columns import Mount
from configurator.slots.options import Choice, Offered, Option, Slots
from configurator.slots.slot import SHARED_SLOTS, Slot
from configurator.units.units import closeness_mm, parse_diameter_mm, parse_length_mm, show_diameter

GOALS = ("changes", "advice", "permanent", "price", "nozzle", "labour", "step")
"""What can be made least: number of changes, advice not followed, changes that cannot be undone, orifice diameters
together, price, labour, and how far the orifices are from what is fitted."""
STYLES: tuple[NozzleStyle, ...] = get_args(NozzleStyle)
WORK_WORDS = {"redrill": "redrill", "relief": "relieve", "rephase": "rephase"}


@dataclass(frozen=True)
class Wish:
    """One wish of the user's: in this slot, one of these options (places in the slot's list). A felt one comes from a
    symptom."""

    text: str
    slot: Slot
    allowed: frozenset[int]
    felt: bool = False


def read_wishes(slots: Slots, keep: Sequence[str], fit: Sequence[str], avoid: Sequence[str]) -> list[Wish]:
    """Wishes from a user's words; raises BadInput naming the word and what it may be."""
    wishes: list[Wish] = []
    for word in keep:
        named = _slots_named(slots, word)
        if not named:
            raise _no_slot(slots, word, "keep", word, "is no slot")
        wishes += [_keeping(slot, f"keep {slot}") for slot in named]
    for word in fit:
        wishes.append(_fitting(slots, word))
    for word in avoid:
        wishes += _avoiding(slots, word)
    return wishes


def read_order(text: str) -> tuple[str, ...]:
    """Goals in the order a user puts them, the others behind in theirs; raises BadInput for a goal there is not."""
    named = [word.strip() for word in text.split(",") if word.strip()]
    for word in named:
        if word not in GOALS:
            raise BadInput.in_field(
                "order", text, f"'{word}' is no goal", f"some of {', '.join(GOALS)}", did_you_mean(word, list(GOALS))
            )
    return tuple(dict.fromkeys([*named, *GOALS]))


def _slots_named(slots: Slots, word: str) -> list[Slot]:
    return [slot for slot in slots if word in (str(slot), slot.circuit, slot.name)]


def _keeping(slot: Slot, text: str) -> Wish:
    return Wish(text, slot, frozenset({0}))


def _avoiding(slots: Slots, word: str) -> list[Wish]:
    offered = {slot: Offered.of(options) for slot, options in slots.items()}
    if word in WORK_WORDS:
        banned = {slot: own.where(lambda option: option.work == WORK_WORDS[word]) for slot, own in offered.items()}
    elif word in STYLES:
        banned = {slot: own.where(partial(_is_new_of_style, word)) for slot, own in offered.items()}
    elif any(own.of_code(word) for own in offered.values()):
        banned = {slot: [place for place in own.of_code(word) if own[place].changed] for slot, own in offered.items()}
    elif named := _slots_named(slots, word):
        return [_keeping(slot, f"avoid a change of {slot}") for slot in named]
    else:
        known = [*WORK_WORDS, *STYLES, *map(str, slots), *(code for own in offered.values() for code in own.codes)]
        raise BadInput.in_field(
            "avoid", word, "is neither work, a style of nozzle, a slot nor a part",
            "redrill, relief, rephase, aimed, straight, a slot or a code", did_you_mean(word, known),
        )  # fmt: skip
    return [
        Wish(f"avoid {word} ({slot})", slot, frozenset(range(len(slots[slot]))).difference(places))
        for slot, places in banned.items()
        if places
    ]


def _is_new_of_style(style: str, option: Option) -> bool:
    return option.changed and isinstance(option.figures, FittedNozzle) and option.figures.style == style


def _slot_named(slots: Slots, word: str) -> Slot | None:
    """The one slot that a word means: front.nozzle, or nozzle where there is one circuit."""
    named = [slot for slot in slots if word in (str(slot), slot.name)]
    return named[0] if len(named) == 1 else None


def _fitting(slots: Slots, word: str, field: str = "with") -> Wish:
    where, equals, what = (piece.strip() for piece in word.partition("="))
    own_lobe = where == "phase" or where.endswith(".phase")
    if own_lobe:
        where = where.removesuffix("phase") + "lobe"
    if not equals or not what:
        raise BadInput.in_field(field, word, "is not of the form SLOT=WHAT", "for example front.nozzle=0.85mm")
    slot = _slot_named(slots, where)
    if slot is None:
        raise _no_slot(slots, where, field, word, f"{where} is no slot")
    options = Offered.of(slots[slot])
    # A word means options by their code, with or without a phase behind it, or every option of some kinds.
    named = {*options.own, *options.of_code(what), *options.of_code(what.rpartition("@")[0])}
    meant = {place for place in named if _is_named(slot, options[place], what)}
    meant.update(options.where(lambda one: _is_like(one, what)))
    if own_lobe:
        meant = {place for place in meant & set(options.own) if options[place].work in ("none", "rephase")}
    if _measures_otherwise(options[0]) and meant - {0}:
        meant.discard(0)
    allowed = {place for place in named if word_of(options[place]) == what} or meant
    if not allowed:
        problem = f"nothing in the catalogue for {slot} is '{what}'"
        remedy = did_you_mean(what, options.codes)
        raise BadInput.in_field(field, word, problem, _expected(slot, options, what), remedy)
    return Wish(f"{slot} = {what}", slot, frozenset(allowed))


def _no_slot(slots: Slots, where: str, field: str, word: str, problem: str) -> BadInput:
    """Of a word that names no slot, or one of each circuit."""
    written, both = [str(slot) for slot in slots], [str(slot) for slot in slots if where == slot.name]
    if both:
        return BadInput.in_field(field, word, f"there is a {where} in each circuit", " or ".join(both))
    meant = did_you_mean(where, [*written, *(slot.name for slot in slots)])
    return BadInput.in_field(field, word, problem, f"one of {', '.join(written)}", meant)


def slot_asked(slots: Slots, word: str) -> tuple[Slot, frozenset[int]]:
    """The slot that a question names, and which of its options it means: all of them where it names none."""
    slot = _slot_named(slots, word)
    if slot is not None:
        return slot, frozenset(range(len(slots[slot])))
    if "=" not in word:
        expected = "a slot, or SLOT=WHAT such as front.nozzle=0.85mm"
        if any(slot.name == word for slot in slots):
            raise _no_slot(slots, word, "", word, "")
        raise BadInput([Fault(word, "", "is no slot", expected, did_you_mean(word, list(map(str, slots))))])
    wish = _fitting(slots, word, "")
    return wish.slot, wish.allowed


FITTED = "fitted"


def word_of(option: Option) -> str:
    """The word that means this option and no other, as a wish takes it behind SLOT=.

    >>> word_of(Option("none", 0.0, "none")), word_of(Option("manifold pad relieved by 1.0 mm", 1.0, "relieve", "pad"))
    ('fitted', '1mm')
    """
    figures = option.figures
    if not option.changed:
        return FITTED
    if option.work == "redrill":
        assert isinstance(figures, FittedNozzle)
        return f"redrill:{figures.diameter_mm:.3f}mm"
    if isinstance(figures, Mount):
        return f"{FITTED if option.work == 'rephase' else option.code}@{figures.phase_deg:g}"
    if isinstance(figures, float):
        return f"{figures:g}mm"
    return option.code or option.label


def _is_named(slot: Slot, option: Option, what: str) -> bool:
    """Whether a word means an option by its code or label, a lobe's with a phase behind it or without."""
    if what == option.code and option.work not in ("redrill", "relieve"):
        return True
    figures = option.figures
    if isinstance(figures, Mount):
        code, _, phase = what.rpartition("@")
        own = FITTED if option.work in ("none", "rephase") else option.code
        return code in (option.code, own) and _is_phase(phase, figures)
    return slot.name in SHARED_SLOTS and what in (option.label, option.code)


def _is_like(option: Option, what: str) -> bool:
    """Whether a word means an option by its figures, whatever its code: a size, a phase, a depth."""
    figures = option.figures
    if isinstance(figures, FittedNozzle):
        redrill = what.startswith("redrill:")
        size = _size(what.removeprefix("redrill:"))
        if size is None or (not figures.redrilled if redrill else option.work == "redrill"):
            return False  # a nozzle that is drilled already is what was asked for, too
        return abs(figures.diameter_mm - size) < closeness_mm(what)
    if isinstance(figures, Mount):
        code, _, phase = what.rpartition("@")
        return code == "" and _is_phase(phase, figures)
    depth_mm = _length(what) if isinstance(figures, float) else None
    return isinstance(figures, float) and depth_mm is not None and abs(figures - depth_mm) < 1e-6


def _is_phase(text: str, mount: Mount) -> bool:
    return text.removesuffix("deg").strip() == f"{mount.phase_deg:g}"


def _measures_otherwise(fitted: Option) -> bool:
    """Whether a fitted nozzle is not what its code says: a wish for that code means a new one."""
    figures = fitted.figures
    return isinstance(figures, FittedNozzle) and figures.stamped_diameter_mm not in (None, figures.diameter_mm)


def _size(text: str) -> float | None:
    try:
        return parse_diameter_mm(text)
    except BadSize:
        return None


def _length(text: str) -> float | None:
    try:
        return parse_length_mm(text)
    except BadSize:
        return None


def _expected(slot: Slot, offered: Offered, what: str) -> str:
    options = offered.kinds
    size = _size(what.removeprefix("redrill:"))
    if slot.name == "nozzle" and size is not None and what.startswith("redrill:"):
        drills = dict.fromkeys(o.label.rsplit("drill ")[-1] for o in options if o.work == "redrill")
        return (
            f"a drill a little larger than the straight nozzle that is fitted: {', '.join(drills) or 'there is none'}"
        )
    if slot.name == "nozzle" and size is not None:
        diameters = {
            o.figures.diameter_mm for o in options if isinstance(o.figures, FittedNozzle) and o.work != "redrill"
        }
        near = sorted(sorted(diameters, key=lambda diameter: abs(diameter - size))[:2])
        return f"a size there is; the nearest are {' and '.join(show_diameter(d) for d in near)}"
    if slot.name == "nozzle":
        return "a nozzle's code, a size (0.85mm, 31thou, #68), or redrill:SIZE"
    if slot.name == "lobe":
        return "a lobe's code, CODE@PHASE, or a phase of the fitted lobe"
    if slot.name == "pad_relief":
        return f"none, or one of: {'; '.join(option.label for option in options if option.changed)}"
    return "the code of a part for this slot" + (", or none" if slot.name == "spacer" else "")


def pick(slots: Slots, wishes: Sequence[Wish]) -> dict[Slot, int]:
    """One option for every slot: the fitted one, or of those wished for the first that is nearest to it (same style of
    nozzle, same phase)."""
    chosen = {slot: 0 for slot in slots}
    for slot in dict.fromkeys(wish.slot for wish in wishes):
        allowed = frozenset.intersection(*(wish.allowed for wish in wishes if wish.slot == slot))
        if not allowed:
            problem = f"the wishes for {slot} exclude each other"
            raise BadInput.in_field("with", "", problem, "wishes that one part can meet")
        options = Offered.of(slots[slot])
        unlike = [_unlike(options[0].figures, kind.figures) for kind in options.kinds]
        chosen[slot] = min(allowed, key=lambda place: (unlike[options.kind[place]], place))
    return chosen


def choose(slots: Slots, wishes: Sequence[Wish]) -> Choice:
    """What pick picks, as options."""
    return {slot: slots[slot][index] for slot, index in pick(slots, wishes).items()}


def chosen_parts(slots: Slots, fit: Sequence[str]) -> Choice:
    """What is fitted, with the parts wished for in place of some. Raises BadInput for a word that means no part."""
    return choose(slots, read_wishes(slots, [], fit, []))


def _unlike(now: object, other: object) -> int:
    if isinstance(now, FittedNozzle) and isinstance(other, FittedNozzle):
        return int(now.style != other.style)
    if isinstance(now, Mount) and isinstance(other, Mount):
        return int(now.phase_deg != other.phase_deg)
    return 0
