"""What to try after the next feeling: what tipin next would say then, from the combination on the card."""

from configurator.advice.foreseen import RunAhead
from configurator.card.sheet import AfterFeeling, NextMove, Swap
from configurator.card.words import part_words, size_words, slot_words
from configurator.judging.feelings import SYMPTOMS, Symptom
from configurator.judging.trade_sizes import OUT_OF_TRADE, odd_sizes
from configurator.learning.as_known import Known
from configurator.slots.options import Choice, Option
from configurator.slots.slot import Slot

LOOK_ELSEWHERE = "look elsewhere: float level, ignition timing, an air leak, a fault in the linkage"
NOT_TOGETHER = "these parts do not go together: no step leads on"
MORE_VOLUME = "the shot has run out: it takes more volume"
TOLD = 1.01
"""More volume than this, as a share, can be told."""
RUN_AGAIN = "no other part is much likelier to be right: run it once more as it is"


def after_feelings(known: Known, choice: Choice) -> list[AfterFeeling]:
    """A step for each feeling, from a combination."""
    ahead, said, found = RunAhead(known, choice), list[str](), []
    for word in SYMPTOMS.values():
        symptom = word.at("at-once") if word.leaves_open_when else word  # what goes flat later stands apart
        hint = symptom.hint
        for earlier in said:
            hint = hint.replace(earlier, "").strip()
        said += [hint] if hint else []
        moves = _moves(ahead, symptom) if symptom.side else []
        found.append(AfterFeeling(word=symptom.word, says=symptom.says, hint=hint, moves=moves))
    return found


def _moves(ahead: RunAhead, symptom: Symptom) -> list[NextMove]:
    """The step, circuit by circuit; one of no circuit that says why there is none."""
    known, choice = ahead.known, ahead.choice
    names = known.case.circuit_names
    if not all(ahead.shot(name, {}).pumps for name in names):
        return [NextMove(circuit="", swaps=[], says=NOT_TOGETHER)]
    step = ahead.step_after(symptom)
    if not step:
        way = "more" if symptom.side > 0 else "less"
        nothing = f"no part that gives {way} and keeps the rules would do better here: {LOOK_ELSEWHERE}"
        return [NextMove(circuit="", swaps=[], says=nothing if step is None else RUN_AGAIN)]
    moves = []
    for name in names:
        swaps = [_swap(known, choice, slot, option) for slot, option in step.items() if slot.circuit == name]
        now_cc, then_cc = (ahead.shot(name, parts).volume_cc for parts in ({}, step))
        says = MORE_VOLUME if [*symptom.tells] == ["flat"] and then_cc > TOLD * now_cc else ""
        moves += [NextMove(circuit=name, swaps=swaps, says=says)] if swaps else []
    return moves


def _swap(known: Known, choice: Choice, slot: Slot, option: Option) -> Swap:
    case, now = known.case, choice[slot]
    odd = OUT_OF_TRADE if odd_sizes({slot: option}, case.catalog.limits) else ""
    return Swap(
        slot=slot_words(case, slot), to=", ".join(filter(None, (part_words(option), size_words(case, option), odd))),
        code=option.code, in_place_of=now.label if now.code == option.code else part_words(now),
    )  # fmt: skip
