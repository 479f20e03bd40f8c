"""What the bench shows, as plain data: every part by where it stands, and what the present choice comes to."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal
from urllib.parse import urlencode

from configurator.advice.comparison import Compared
from configurator.advice.standing import Clash, SlotStanding, Standing, State
from configurator.catalogue.settings import price_text
from configurator.reports import Combination, Finding
from configurator.rules import RULES, WRONG, Kind
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import word_of
from configurator.views.standing import STATE_WORDS
from configurator.views.tables import HOLDING, by_kind, counted, verdict_words
from configurator.web.pages import car_path, slot_name
from configurator.web.workshop import ChosenPins, Setting

FREE = ""
"""Word of a slot that is left to what is fitted, or to what else the choice needs."""


def address(setting: Setting, words: dict[str, str], what: str = "parts") -> str:
    """Address of the parts of a car, or of another of its pages, with a choice: the whole state of the page."""
    query = urlencode([("pin", f"{slot}={word}") for slot, word in words.items()])
    path = car_path(setting.name, *what.split("/"))
    return f"{path}?{query}" if query else path


@dataclass(frozen=True)
class BenchRow:
    """One option with a button of its own."""

    id: str
    word: str
    label: str
    chosen: bool
    state: str
    says: str
    cost: str
    on_shelf: int


@dataclass(frozen=True)
class Shut:
    """Options that do not fit for one reason, and the addresses that would make room for each."""

    because: list[str]
    options: list[tuple[str, str]]
    gives_up: str
    others: int


@dataclass(frozen=True)
class SlotView:
    """One slot: what is chosen, the options in groups by their state."""

    slot: str
    id: str
    chosen: str
    pinned: bool
    wrong_now: str
    """What is said of the part chosen: that it does not fit, or will not cure; empty where it does both."""
    counts: str
    free: BenchRow
    first: list[BenchRow]
    fits: list[BenchRow]
    with_changes: list[BenchRow]
    uncured: list[BenchRow]
    shut: list[Shut]

    @property
    def shut_count(self) -> int:
        return sum(len(group.options) for group in self.shut)


def slot_views(
    setting: Setting, pins: ChosenPins, slots: Sequence[SlotStanding], stock: Mapping[str, int]
) -> list[SlotView]:
    """Every slot of an availability report; pins are those it was asked with. stock : parts on the shelf by code."""
    return [_slot_view(setting, pins, standing, stock) for standing in slots]


def _slot_view(setting: Setting, pins: ChosenPins, standing: SlotStanding, stock: Mapping[str, int]) -> SlotView:
    slot, chosen = standing.slot, pins.words.get(standing.slot, FREE)
    rows = [
        (_row(setting, slot, place, option, option.word == chosen, stock), option)
        for place, option in enumerate(standing.options, 1)
    ]
    # What is fitted comes first, and so does what is chosen where nothing else would show it.
    first = [row for row, option in rows if option.fitted or (row.chosen and option.state == "impossible")]
    behind = [(row, option) for row, option in rows if row not in first]
    states: tuple[State, ...] = ("fits", "with_changes", "will_not_cure")
    fits, changes, uncured = ([row for row, option in behind if option.state == state] for state in states)
    shut = _shut(setting, pins, slot, [option for _, option in behind if option.state == "impossible"])
    now = next(option for option in standing.options if option.fitted)
    picked = next((option for option in standing.options if option.word == chosen), now)
    free = BenchRow(
        f"{slot}-0", FREE, f"open: {now.label} stays unless something needs another", not chosen, "", "", "", 0
    )
    return SlotView(
        slot=slot, id=f"slot-{slot}", chosen=picked.label if chosen else f"{now.label}, as fitted", pinned=bool(chosen),
        wrong_now=STATE_WORDS[picked.state] if chosen and picked.clash else "", counts=_counts(standing.options),
        free=free, first=first, fits=fits, with_changes=changes, uncured=uncured, shut=shut,
    )  # fmt: skip


def _counts(options: Sequence[Standing]) -> str:
    """How many of a slot's options stand where."""
    states = [option.state for option in options]
    words: dict[State, str] = {
        "fits": "fit", "with_changes": "need more", "will_not_cure": "will not cure", "impossible": "do not fit",
    }  # fmt: skip
    return ", ".join(f"{states.count(state)} {says}" for state, says in words.items())


def _row(setting: Setting, slot: str, place: int, option: Standing, chosen: bool, stock: Mapping[str, int]) -> BenchRow:
    needs = ", ".join(f"{slot_name(other.slot).lower()}: {other.to}" for other in option.with_changes)
    says = f"also needs {needs}" if needs else "fits"
    if option.clash:
        says = f"{STATE_WORDS[option.state]}: {'; '.join(option.wrong)}" + (f"; to fit, {says}" if needs else "")
    price = "" if option.price is None else price_text(option.price, setting.case.catalog.currency)
    cost = f"{price}, {option.labour_min} min" if price and not option.fitted else ""
    there = stock.get(option.code or "", 0)
    label = f"keep {option.label}, as fitted" if option.fitted else option.label
    return BenchRow(f"{slot}-{place}", option.word, label, chosen, option.state, says, cost, there)


def reasons(clash: Clash | None) -> list[str]:
    """Why nothing will do: pins and what is wrong, in words."""
    if clash is None:
        return []
    return [*(f"you asked for {pin}" for pin in clash.pins), *clash.says]


def ways_out(clash: Clash | None) -> list[str]:
    """Every smallest set of pins to give up, in words."""
    return [" and ".join(way) for way in clash.give_up] if clash else []


def _shut(setting: Setting, pins: ChosenPins, slot: str, options: Sequence[Standing]) -> list[Shut]:
    """Options that do not fit, those of one reason together, with the first smallest set of pins that would make
    room."""
    slot_of = {wish.text: pinned for pinned, wish in pins.wishes.items()}
    groups: dict[tuple[tuple[str, ...], tuple[str, ...], int], list[Standing]] = {}
    for option in options:
        ways = option.clash.give_up if option.clash else []
        gives = next((way for way in ways if all(text in slot_of for text in way)), [])
        asked = [f"you asked for {pin}" for pin in option.clash.pins] if option.clash else []
        because = tuple(dict.fromkeys([*option.wrong, *asked]))
        key = (because, tuple(gives), option.clash.others if option.clash else 0)
        groups.setdefault(key, []).append(option)
    shut = []
    for (because, texts, others), members in groups.items():
        given = [slot_of[text] for text in texts]
        kept = {pinned: word for pinned, word in pins.words.items() if pinned not in given}
        links = [(o.label, address(setting, kept | {slot: o.word}) if given else "") for o in members]
        shut.append(Shut(list(because), links, " and ".join(slot_name(name).lower() for name in given), others))
    return shut


Look = Literal["good", "warn", "bad"]


@dataclass(frozen=True)
class BenchAnswer:
    """The answer in a word, a sentence, a shape that goes with the word, and how good it looks."""

    word: str
    symbol: str
    says: str
    look: Look


def verdict(now: Combination, further: Sequence["FurtherChange"], clash: Clash | None, clean: str = "") -> BenchAnswer:
    """What the present choice comes to, in one line. OK only where every rule holds and nothing else is asked for, or
    where it pulls cleanly and fits. clean : what says that it pulls cleanly; empty where nothing does."""
    wrong = [f for f in now.findings if f.holds is not True]
    changed = counted(now.totals.changes, "change") if now.totals.changes else "as fitted"
    says = "; ".join([f"{changed}: {verdict_words(now.findings, clean)}", *_ways_on(wrong, len(further), clash)])
    amiss = {f.kind for f in wrong if f.severity == "conflict" and RULES[f.rule].is_choosable}
    amiss |= {clash.kind} if clash else set()
    for kind, symbol, look in _AMISS:
        if kind in amiss:
            return BenchAnswer(WRONG[kind].upper(), symbol, says, look)
    if not now.ok:
        return BenchAnswer("PUT RIGHT FIRST", "✕", says, "bad")
    return BenchAnswer("NOT YET", "▲", says, "warn") if further else BenchAnswer("OK", "✓", says, "good")


_AMISS: tuple[tuple[Kind, str, Look], ...] = (("fit", "✕", "bad"), ("cure", "▲", "warn"))


def _ways_on(wrong: Sequence[Finding], further: int, clash: Clash | None) -> Iterator[str]:
    """What can be done about what is wrong: by so many further changes, and by hand."""
    broken = [f for f in wrong if f.severity == "conflict" and f.holds is False]
    by_hand = sum(not RULES[f.rule].is_choosable for f in broken)
    by_parts = len(broken) > by_hand
    # Where parts break no rule, a wish is open: what is felt is nothing that a rule finds.
    if clash is not None:
        yield "no further change mends that" if by_parts else "no further change answers what is felt"
    elif further:
        steps = counted(further, "further change")
        mends = f"{steps} mend{'s' if further == 1 else ''} what parts can"
        yield mends if by_parts else f"what the driver feels asks for {steps}"
    if by_hand:
        yield f"{by_hand} to be put right by hand"


@dataclass(frozen=True)
class FurtherChange:
    """A further change that the choice needs."""

    slot: str
    to: str


def further_steps(now: Choice, best: Choice | None) -> list[FurtherChange]:
    """What has to change besides, to keep every rule; nothing where nothing would do."""
    besides = [(slot, option) for slot, option in (best or {}).items() if option.label != now[slot].label]
    return [FurtherChange(str(slot), option.label) for slot, option in besides]


def completed(pins: ChosenPins, now: Choice, best: Choice) -> dict[str, str]:
    """The pins with further steps taken too."""
    return pins.words | {step.slot: word_of(best[SLOTS[step.slot]]) for step in further_steps(now, best)}


def told_cell(row: Compared, value: str | float | None) -> str:
    """A figure of a comparison with its unit."""
    if value is None:
        return "not asked" if "right for" in row.what else "nothing is delivered"
    if isinstance(value, str):
        return value
    return f"{value:.{2 if row.unit in ('cc', 'mm') else 0}f} {row.unit}".strip()


def under_headings(found: Sequence[Finding]) -> tuple[list[tuple[str, list[Finding]]], list[Finding]]:
    """What does not hold or is not known, under headings, and what holds."""
    groups = dict(by_kind(found))
    holding = groups.pop(HOLDING)
    return [(heading, some) for heading, some in groups.items() if some], holding
