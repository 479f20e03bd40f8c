"""What the trade does where the model is at a loss: three sizes the way that was felt, or a little more volume where
the shot ran out, and nothing else (common practice, no source).

What is felt of a car may be beyond all that the model can explain: a figure of the file is wrong, or a fault lies
elsewhere. A step that a tuner would take anyway is then better than none, as long as it is told for what it is.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from configurator.advice.propose import ProposalRequest, propose
from configurator.advice.reach import ACROSS_MM, ALONG_MM, EDGE_MM
from configurator.advice.sure_proposal import NEAREST_FIRST
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.limits import Limits
from configurator.judging.case import FeltSizes
from configurator.judging.trade_sizes import odd_size
from configurator.learning.as_known import Known
from configurator.learning.felt_sizes import side_of_nozzle
from configurator.reports import ProposeReport
from configurator.slots.options import Option
from configurator.slots.slot import Slot, SlotName
from configurator.slots.wishes import Wish

STAYS: tuple[SlotName, ...] = ("nozzle", "pump", "lobe")
"""What stays as it is; a feed screw, a spacer and what else the rules ask for goes along."""
LEAST_MM = 0.04
"""Less is no step that is felt (assumed)."""
A_LITTLE_MORE = (1.08, 1.6)
"""Of the volume that ran out: what is a step, and what is too much of one (assumed)."""


def trade_step(known: Known, tried: Sequence[Wish]) -> ProposeReport | None:
    """One part in place of another, the way that was felt last, with what the rules force along; None where nothing
    was, where it does not say which way, or where no such part fits. tried : what may be tried of every slot."""
    felt = known.last_felt
    if felt is None or known.belief is None or known.a_run_says_right:
        return None
    for name in known.case.circuit_names[:1] if side_of_nozzle(felt) > 0 else _only_circuit(known):
        for wish in _steps(known, name):
            others = (one for one in known.case.options if one != wish.slot and one.name in STAYS)
            as_they_are = (Wish(f"{one} as it is", one, frozenset({0})) for one in others)
            request = ProposalRequest([*tried, wish, *as_they_are], order=NEAREST_FIRST)
            report = propose(known.tables.content_with(0.0), request, known)
            if report.changes:
                return report.model_copy(update={"sureness": None})
    return None


def _only_circuit(known: Known) -> Sequence[str]:
    """The circuit that too much fuel, or too little of it later, is felt of; none where it may be either."""
    return known.case.circuit_names if len(known.case.circuit_names) == 1 else ()


def _steps(known: Known, name: str) -> Iterator[Wish]:
    assert known.last_felt is not None
    if set(known.last_felt.tells) == {"flat"}:
        yield from _more_volume(known, name)
    elif side := side_of_nozzle(known.last_felt):
        yield from _nozzles(known, Slot(name, "nozzle"), side)


def _nozzles(known: Known, slot: Slot, side: int) -> Iterator[Wish]:
    felt = known.sizes.get(slot.circuit or "", FeltSizes())
    way = "larger" if side > 0 else "smaller"
    for places in nozzles_by_practice(known.case.options[slot], side, known.case.catalog.limits, felt):
        yield Wish(f"three sizes {way}, as the trade goes", slot, frozenset(places), felt=True)


def nozzles_by_practice(options: Sequence[Option], side: int, limits: Limits, felt: FeltSizes) -> Iterator[list[int]]:
    """Places of nozzles like the first, in the trade's sizes and past every one that was felt so: those three sizes
    away, then those of the other sizes within reach, the nearest to that first. side : larger (1) or smaller (-1)."""
    now, steps = options[0].read(FittedNozzle), dict[float, list[int]]()
    least_mm, most_mm = felt.lean_mm + limits.stamped_tolerance_mm, felt.rich_mm - limits.stamped_tolerance_mm
    for place, option in enumerate(options):
        nozzle = option.read(FittedNozzle)
        step_mm = round(side * (nozzle.diameter_mm - now.diameter_mm), 3)
        alike = option.work == "fit" and nozzle.style == now.style and nozzle.orifices == now.orifices
        past = least_mm - EDGE_MM < nozzle.diameter_mm < most_mm + EDGE_MM
        if alike and past and LEAST_MM <= step_mm <= ALONG_MM + EDGE_MM and not odd_size(nozzle, limits):
            steps.setdefault(step_mm, []).append(place)
    for step_mm in sorted(steps, key=lambda step_mm: abs(step_mm - ACROSS_MM)):
        yield steps[step_mm]


def _more_volume(known: Known, name: str) -> Iterator[Wish]:
    """Lobes that lift more than the fitted one, the least first."""
    slot = Slot(name, "lobe")
    options, listed = known.case.options[slot], {own: (one,) for own, one in known.case.as_fitted.items()}
    shot = known.case.columns(name, {**listed, slot: tuple(options)}).shot
    volume_cc = np.broadcast_to(shot.volume_cc, (1, 1, 1, len(options), 1, 1))[0, 0, 0, :, 0, 0]
    least, most = (share * volume_cc[0] for share in A_LITTLE_MORE)
    for place in np.argsort(volume_cc, kind="stable").tolist():
        if least <= volume_cc[place] <= most:
            yield Wish("a little more volume, as the trade goes", slot, frozenset({place}), felt=True)
