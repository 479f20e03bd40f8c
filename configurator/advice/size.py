"""The smallest nozzle that pulls cleanly, with the fitted pump and with each other pump.

With the fitted pump the lobe stays as it is; another pump may bring another lobe. The feed screw follows the nozzle:
the fitted one as long as it leaves the nozzle in charge. More than that is a proposal's business.
"""

from collections.abc import Collection, Sequence
from typing import SupportsFloat

import numpy as np

from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case
from configurator.judging.engine_told import told_engine
from configurator.judging.right import DEMAND
from configurator.judging.table import CombinationAt, CombinationTable, tabulate_circuit
from configurator.judging.trade_sizes import odd_size
from configurator.learning.belief import Belief
from configurator.reports import Candidate, CircuitSizes, NozzleChoice, SizeReport
from configurator.slots.columns import JudgedShots
from configurator.slots.offered import nozzle_name
from configurator.slots.slot import CIRCUIT_SLOTS
from configurator.units.drills import INCH_MM


def size(case: Case, circuits: Sequence[str], believed: Belief) -> SizeReport:
    """Sizes for the circuits asked for, in the case's engine. believed : what is believed of the engine."""
    sized = [_size_circuit(case, name, believed) for name in circuits]
    notes = [
        "Orifices differ by a hundredth or two from their stamp (a new drill alone may be 0.014 mm under its size), "
        "and that is half a step of the catalogue: measure the orifice with a pin gauge before judging a trial."
    ]
    if case.car.tip_in.film_held_at_edge:
        notes.append(
            "Part of the tip-in lies outside what the fuel on the manifold walls was measured for (0.3 to 1.0 bar, "
            "up to 3,000 rev/min): the answer is less sure there."
        )
    return SizeReport(
        vehicle=case.vehicle.name, ok=all(circuit.smallest is not None for circuit in sized),
        engine=told_engine(case.engine), circuits=sized, notes=notes,
    )  # fmt: skip


def _size_circuit(case: Case, name: str, believed: Belief) -> CircuitSizes:
    table = tabulate_circuit(case, name)
    rows = [row for pump in range(len(table.options["pump"])) for row in _rows_of_pump(case, table, pump)]
    pumps = [option.label for option in table.options["pump"]]
    candidates = [candidate(table, row, believed) for row in rows]
    by_pump = {pump: _smallest([row for row in candidates if row.pump == pump]) for pump in pumps}
    return CircuitSizes(
        circuit=name, smallest=by_pump[pumps[0]], smallest_by_pump=by_pump,
        fitted=candidate(table, (0, 0, 0, 0), believed), candidates=candidates,
    )  # fmt: skip


def _rows_of_pump(case: Case, table: CombinationTable, pump: int) -> list[CombinationAt]:
    """For each nozzle the best screw and lobe with a pump, smallest nozzle first.

    Best is: fewest rules broken, then fewest changes, then least beyond what goes unfelt, then the catalogue's order.
    """
    broken = np.sum([rule[:, :, pump, :] for rule in table.broken.values()], axis=0)
    excess = table.columns.shot.beyond(case.catalog.limits)[:, :, pump, :, 0, 0]
    changes = np.array([o.changed for o in table.options["feed_screw"]])[:, None] + np.array(
        [o.changed for o in table.options["lobe"]]
    )
    lobes = slice(0, 1) if pump == 0 else slice(None)
    rows: list[CombinationAt] = []
    for nozzle in range(len(table.options["nozzle"])):
        keys = [broken[nozzle, :, lobes], changes[:, lobes], excess[nozzle, :, lobes].round(6)]
        order = np.lexsort([key.ravel() for key in reversed(keys)])
        screw, lobe = np.unravel_index(order[0], keys[0].shape)
        rows.append((nozzle, int(screw), pump, int(lobe)))
    diameter = table.columns.nozzle.diameter_mm.ravel()
    aimed = table.columns.nozzle.aimed.ravel()
    return sorted(rows, key=lambda row: (diameter[row[0]], aimed[row[0]] != aimed[0], row[0]))


def _smallest(rows: Sequence[Candidate]) -> NozzleChoice | None:
    """The nozzle of the first row, smallest nozzle first, that breaks no rule of its own."""
    return next((nozzle_of(row) for row in rows if breaks_no_more_than(row, ())), None)


OF_THE_PUMP = "pump-clears-the-manifold-pad"
"""The rule that a nozzle is not blamed for."""


def breaks_no_more_than(row: Candidate, rules: Collection[str]) -> bool:
    """Whether a combination keeps all other rules, that of the pad left out: it is the pump's business."""
    return set(row.breaks) <= {*rules, OF_THE_PUMP}


def nozzle_of(row: Candidate) -> NozzleChoice:
    """The nozzle of a combination as an answer."""
    return NozzleChoice(
        code=row.code, diameter_mm=row.diameter_mm, diameter_in=row.diameter_in, style=row.style,
        label=nozzle_name(row.code, row.style, row.diameter_mm), odd_size=row.odd_size,
    )  # fmt: skip


def candidate(table: CombinationTable, row: CombinationAt, believed: Belief) -> Candidate:
    """One combination in full."""
    nozzle, screw, pump, lobe = (table.options[slot][index] for slot, index in zip(CIRCUIT_SLOTS, row, strict=True))
    shot = table.columns.shot.at((*row, 0, 0))
    orifice = nozzle.figures
    assert isinstance(orifice, FittedNozzle) and shot.regions is not None
    breaks = [rule for rule, mask in table.broken.items() if mask[row]]
    sureness = float(believed.sureness(shot.regions)) if set(breaks) <= {*DEMAND, OF_THE_PUMP} else 0.0
    return Candidate(
        code=nozzle.code, diameter_mm=orifice.diameter_mm, diameter_in=round(orifice.diameter_mm / INCH_MM, 4),
        style=orifice.style, odd_size=odd_size(orifice, table.columns.limits),
        pump=pump.label, feed_screw=screw.label, lobe=lobe.label.split(" at ")[0],
        phase_deg=lobe.figures.phase_deg,  # type: ignore[union-attr]
        **felt_figures(shot), volume_cc=rounded(shot.volume_cc, 3),
        duration_ms=rounded(shot.ends_ms), peak_cc_s=rounded(shot.peak_cc_s, 3),
        sureness=round(sureness, 4),
        meets=not any(table.broken[rule][row] for rule in DEMAND),
        breaks=breaks,
    )  # fmt: skip


def felt_figures(shot: JudgedShots) -> dict[str, float | None]:
    """What is felt of one combination, for an answer."""
    names = ("delay_ms", "lean_sag_percent", "rich_sag_percent", "smoke_ms")
    return {name: rounded(getattr(shot, name)) for name in names}


def rounded(value: SupportsFloat, digits: int = 1) -> float | None:
    """A figure for an answer; None where there is none."""
    number = float(value)
    return round(number, digits) if np.isfinite(number) else None
