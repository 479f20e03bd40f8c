"""Two rules rest on the trade's word, a free-flow screw and the larger pump: what the model itself sees of each.

The screw is the widest there is, the pump the next that the rule is content with. Each pump has the lobe with which
least is felt, since a lobe is made for one lever.
"""

from dataclasses import dataclass

import numpy as np

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.reports import Finding
from configurator.rules import RULES
from configurator.slots.columns import JudgedShots, nozzle_column, pump_column
from configurator.slots.options import Choice, Option
from configurator.slots.slot import Slot

SCREW_RULE, PUMP_RULE = "feed-screw-is-not-the-restriction", "large-nozzle-has-the-larger-pump"
NOTHING_MS, NOTHING_PERCENT = 5.0, 0.5
"""Differences up to these, a tenth of what goes unfelt, are told as none."""


@dataclass(frozen=True)
class Gain:
    """How much less is felt with what a rule of the trade asks for: of the delay, and of the lean sag."""

    delay_ms: float
    sag_percent: float

    @property
    def is_one(self) -> bool:
        """Whether one of the two is less, and neither more."""
        by = (self.delay_ms / NOTHING_MS, self.sag_percent / NOTHING_PERCENT)
        return max(by) > 1.0 and min(by) >= -1.0

    @property
    def words(self) -> str:
        told = []
        if abs(self.delay_ms) > NOTHING_MS:
            told.append(f"{abs(self.delay_ms):.0f} ms {_less(self.delay_ms)} hesitation")
        if abs(self.sag_percent) > NOTHING_PERCENT:
            told.append(f"{abs(self.sag_percent):.1f} % {_less(self.sag_percent)} sag")
        seen = " and ".join(told) or "no difference in this car"
        return seen if self.is_one else f"{seen}: the rule is the trade's"


def seen_of(case: Case, choice: Choice, finding: Finding) -> str:
    """What the model sees by what a rule of the trade asks for that a choice breaks, in words; empty for other rules,
    and where nothing on offer would do it."""
    gains = {SCREW_RULE: (by_free_flow_screw, "a free-flow screw"), PUMP_RULE: (by_larger_pump, "a larger pump")}
    if finding.rule not in gains or finding.holds is not False or finding.circuit is None:
        return ""
    of_rule, what = gains[finding.rule]
    gain = of_rule(case, choice, finding.circuit)
    return f"by {what} the model sees {gain.words}" if gain else ""


def by_free_flow_screw(case: Case, choice: Choice, circuit: str) -> Gain | None:
    """With the widest screw in place of a choice's; None where that has it, or lobe and lever do not go together."""
    slot = Slot(circuit, "feed_screw")
    screws = (choice[slot], max(case.on_offer[slot], key=_passage_mm2))
    listed = {own: (option,) for own, option in choice.items()} | {slot: screws}
    shot = case.columns(circuit, listed).shot
    if _passage_mm2(screws[0]) >= _passage_mm2(screws[1]) or not shot.pumps.all():
        return None
    return _gain(shot.at((0, 0, 0, 0, 0, 0)), shot.at((0, 1, 0, 0, 0, 0)))


def by_larger_pump(case: Case, choice: Choice, circuit: str) -> Gain | None:
    """With the least pump that keeps the rule in place of a choice's; None where there is none, or no lobe for one."""
    slot, lobe = Slot(circuit, "pump"), Slot(circuit, "lobe")
    enough = [pump for pump in case.on_offer[slot] if _holds_enough(case, choice, circuit, pump)]
    if not enough:
        return None
    pumps = (choice[slot], min(enough, key=_capacity_cc))
    lobes = dict.fromkeys((choice[lobe], *case.on_offer[lobe]))
    listed = {own: (option,) for own, option in choice.items()} | {slot: pumps, lobe: tuple(lobes)}
    shot = case.columns(circuit, listed).shot
    best = [_least_felt(shot.at((0, 0, pump, slice(None), 0, 0)), case) for pump in (0, 1)]
    return None if None in best else _gain(*(one for one in best if one is not None))


def _less(gained: float) -> str:
    return "less" if gained > 0.0 else "more"


def _passage_mm2(screw: Option) -> float:
    return screw.read(FeedScrewFigures).passage_area_mm2


def _holds_enough(case: Case, choice: Choice, circuit: str, pump: Option) -> bool:
    """Whether the rule is content with a pump for a choice's nozzle."""
    nozzle, figures = choice[Slot(circuit, "nozzle")].read(FittedNozzle), pump.read(PumpFigures)
    mm, good_to_mm = RULES[PUMP_RULE].reads(
        nozzle=nozzle_column([nozzle]), pump=pump_column([figures], [pump.changed]), limits=case.catalog.limits
    )
    return bool(np.all(mm <= good_to_mm))


def _capacity_cc(pump: Option) -> float:
    return pump.read(PumpFigures).capacity_cc


def _least_felt(shot: JudgedShots, case: Case) -> JudgedShots | None:
    """Of combinations along one axis the one with least beyond what goes unfelt, then least of all; None where none
    pumps."""
    beyond, felt = (shot.beyond(case.catalog.limits, unfelt) for unfelt in (1.0, 0.0))
    best = shot.at((int(np.lexsort((felt, beyond))[0]),))
    return best if best.pumps else None


def _gain(now: JudgedShots, then: JudgedShots) -> Gain:
    return Gain(*(float(getattr(now, what) - getattr(then, what)) for what in ("delay_ms", "lean_sag_percent")))
