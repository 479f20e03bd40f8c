"""From a judged combination to its card."""

import datetime
from collections.abc import Sequence

from configurator.advice.over_unknown import in_a_sentence, not_known
from configurator.card.jobs import FIRST_CHECKS, CardJob, before, is_fault, sections, sentence
from configurator.card.next_moves import after_feelings
from configurator.card.sheet import Card, PartRow, Section
from configurator.card.words import part_words, size_words, slot_words
from configurator.judging.case import Case
from configurator.judging.feelings import Symptom
from configurator.learning.as_known import Known
from configurator.reports import Change, Combination, Finding, Shot
from configurator.rules import RULES, WRONG
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS, SlotName

FASTENINGS: dict[SlotName, str] = {
    "nozzle": "feed screw", "feed_screw": "feed screw", "pump": "pump cover", "lobe": "lobe screw",
    "spacer": "carburettor nuts", "pad_relief": "carburettor nuts, manifold bolts",
}  # fmt: skip
"""What is tightened after a change in a slot."""


def card_of(
    known: Known,
    choice: Choice,
    combination: Combination,
    on: datetime.date,
    symptom: Symptom | None = None,
    *,
    record: str = "",
) -> Card:
    """The card of a choice of parts of a car as it is known, dated. combination : the choice as judged by the rules.
    symptom : what was felt with what is fitted. record : how the test run is kept."""
    case = known.case
    job = CardJob(case, choice, combination)
    wrong = [f for f in job.wrong if f.severity == "conflict" and f.holds is False and RULES[f.rule].is_choosable]
    against, uncured = ([job.text(f) for f in wrong if f.kind == kind] for kind in WRONG)
    work = sections(job)
    rows = [_part_row(case, choice, change) for change in combination.changes]
    fastenings = [FASTENINGS[SLOTS[change.slot].name] for change in combination.changes]
    return Card(
        vehicle=case.vehicle.name, title=combination.title, on=on, felt=symptom.says if symptom else "",
        ok=not wrong, against=against, uncured=uncured, parts=rows,
        gaskets=combination.consumables, totals=combination.totals,
        torques=list(dict.fromkeys(word for words in fastenings for word in words.split(", "))), before=before(job),
        sections=work, after_feelings=after_feelings(known, choice),
        felt_then=[_felt_then(known, shot) for shot in combination.shots],
        mind=[*(sentence(in_a_sentence(one)) for one in not_known(known)), *_mind(job, wrong, work),
              *(sentence(one.says) for one in known.set_aside if not one.undone)],
        record=record,
    )  # fmt: skip


def _mind(job: CardJob, against: Sequence[Finding], work: Sequence[Section]) -> list[str]:
    """What is neither a conflict of these parts nor put right on the card, each said once."""
    said = _said(work)
    left = [
        finding for finding in job.wrong
        if finding not in against and not is_fault(finding) and finding.rule != FIRST_CHECKS
        and finding.mend.casefold() not in said
    ]  # fmt: skip
    return list(dict.fromkeys(map(job.text, left)))


def _said(work: Sequence[Section]) -> str:
    """Everything the sections say."""
    return "\n".join(f"{step.text}\n{step.how}" for section in work for step in section.steps).casefold()


def _part_row(case: Case, choice: Choice, change: Change) -> PartRow:
    slot = SLOTS[change.slot]
    option = choice[slot]
    return PartRow(
        slot=slot_words(case, slot), part=part_words(option), size=size_words(case, option),
        in_place_of=change.from_, price=change.price, labour_min=change.labour_min,
        in_box=option.price > 0 and change.price == 0, reversible=change.reversible,
    )  # fmt: skip


def _felt_then(known: Known, shot: Shot) -> str:
    """What to expect of a circuit, and how sure it is to be right."""
    where = f"{shot.circuit}: " if len(known.case.circuit_names) > 1 else ""
    sure = f"; right for {100 * shot.sureness:.0f} % of {known.believed.engines}" if shot.sureness is not None else ""
    return sentence(f"{where}{shot.felt}{sure}")
