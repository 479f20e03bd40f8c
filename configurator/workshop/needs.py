"""What one vehicle may need in its box: setups, nozzles, and the scenarios of demand that each pair of them covers.

The belief over the demand factor f is cut into scenarios of equal weight. A setup is a feed screw, pump and lobe of one
circuit, with the spacer or pad relief they want; with a setup fitted, nozzles are tried. A scenario is covered when
some setup and nozzle in the box meet the demand at its f and keep every hard rule. Sureness is the share of scenarios
covered in every circuit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from configurator.case import AXES, Case, margins
from configurator.fitted import FittedNozzle
from configurator.options import JOINTS, Option
from configurator.physics.fuel_path import Array
from configurator.physics.tip_in import Mask
from configurator.rules import CIRCUIT_SLOTS, RULES, SHARED_SLOTS
from configurator.sizing import DEMAND

MOST_SETUPS = 8
"""Setups looked at for a circuit: the fitted one, those that cover more than any cheaper one, then those that cover
most. An order is proven the cheapest over these."""


@dataclass(frozen=True)
class Setup:
    """Screw, pump and lobe of one circuit: codes to be had for it (none for what is fitted), codes it sets free, joints
    its changes open, places in the shared options (spacer, pad relief) it goes with, and labour."""

    label: str
    codes: tuple[str, ...]
    frees: tuple[str, ...]
    joints: tuple[str, ...]
    goes_with: Mask
    labour_min: int
    is_fitted: bool


@dataclass(frozen=True)
class CircuitNeeds:
    """One circuit's setups and nozzles, and what they cover: covers[setup, nozzle, scenario]."""

    circuit: str
    setups: tuple[Setup, ...]
    nozzles: tuple[Option, ...]
    covers: Mask


@dataclass(frozen=True)
class VehicleNeeds:
    """All that an order must know of a vehicle; shared holds pairs of spacer and pad relief."""

    name: str
    circuits: tuple[CircuitNeeds, ...]
    shared: tuple[tuple[Option, Option], ...]
    scenarios: Array


def needs_of(case: Case, scenarios: Array, *, redrill: bool) -> VehicleNeeds:
    """The needs of a vehicle for the scenarios of its belief, with its linkage set."""
    case = case.with_linkage_set()
    shared = [(spacer, relief) for spacer in case.options["spacer"] for relief in case.options["pad_relief"]
              if redrill or relief.work != "relieve"]  # fmt: skip
    circuits = tuple(_circuit_needs(case, name, shared, scenarios, redrill=redrill) for name in case.circuit_names)
    wanted = np.any([setup.goes_with for circuit in circuits for setup in circuit.setups], axis=0)
    kept = [place for place in range(len(shared)) if wanted[place] or place == 0]
    return VehicleNeeds(
        case.vehicle.name,
        tuple(_with_shared(circuit, kept) for circuit in circuits),
        tuple(shared[place] for place in kept),
        scenarios,
    )


def _with_shared(circuit: CircuitNeeds, kept: Sequence[int]) -> CircuitNeeds:
    return replace(circuit, setups=tuple(replace(s, goes_with=s.goes_with[list(kept)]) for s in circuit.setups))


def _circuit_needs(
    case: Case, name: str, shared: Sequence[tuple[Option, Option]], scenarios: Array, *, redrill: bool
) -> CircuitNeeds:
    listed = dict(case.options)
    nozzle_slot = f"{name}.nozzle"
    listed[nozzle_slot] = tuple(o for o in listed[nozzle_slot] if redrill or o.work != "redrill")
    table = case.columns(name, listed, with_windows=True)
    shape = tuple(len(listed[slot if slot in SHARED_SLOTS else f"{name}.{slot}"]) for slot in AXES)
    rules = [r for r in RULES.values() if r.is_choosable and r.severity == "conflict" and r.id not in DEMAND]
    of_parts = np.ones(shape[:4], dtype=bool)
    of_stack = np.ones((shape[2], *shape[4:]), dtype=bool)
    for rule in rules:
        holds = ~(np.broadcast_to(margins(rule, table), shape) < 0)
        if set(rule.slots) & set(SHARED_SLOTS):
            of_stack &= holds[0, 0, :, 0]
        else:
            of_parts &= holds[..., 0, 0]
    shot = table["shot"]
    low, high = (window[..., 0, 0, None] for window in (shot.window_low, shot.window_high))
    with np.errstate(invalid="ignore"):
        covers = of_parts[..., None] & (low <= scenarios) & (scenarios <= high)
    goes_with = np.zeros((shape[2], len(shared)), dtype=bool)
    spacers, reliefs = (list(listed[slot]) for slot in SHARED_SLOTS)
    for place, (spacer, relief) in enumerate(shared):
        goes_with[:, place] = of_stack[:, spacers.index(spacer), reliefs.index(relief)]
    return _pruned(name, listed, covers, goes_with)


def _pruned(name: str, listed: dict[str, tuple[Option, ...]], covers: Mask, goes_with: Mask) -> CircuitNeeds:
    """The setups and nozzles worth keeping: every scenario some setup covers stays covered, cheap setups first."""
    parts = {slot: listed[f"{name}.{slot}"] for slot in CIRCUIT_SLOTS}
    places = [
        (screw, pump, lobe)
        for screw in range(len(parts["feed_screw"]))
        for pump in range(len(parts["pump"]))
        for lobe in range(len(parts["lobe"]))
        if goes_with[pump].any() and covers[:, screw, pump, lobe].any()
    ]
    setups = [_setup(parts, place, goes_with[place[1]]) for place in places]
    table = np.array([covers[:, screw, pump, lobe] for screw, pump, lobe in places], dtype=bool)
    table = table.reshape(len(places), *covers.shape[:1], covers.shape[-1])
    price = [sum(option.price for option in _chosen(parts, place)) for place in places]
    reach = table.any(axis=1).sum(axis=1) if places else np.zeros(0)
    kept = _undominated(setups, price, table)
    dearest_last = sorted(kept, key=lambda i: (price[i], -reach[i], setups[i].label))
    best, front = 0, []
    for index in dearest_last:
        if setups[index].is_fitted or reach[index] > best:
            front.append(index)
            best = max(best, int(reach[index]))
    others = sorted(set(kept) - set(front), key=lambda i: (-reach[i], price[i], setups[i].label))
    chosen = [*front, *others][:MOST_SETUPS]
    useful = [n for n in range(len(parts["nozzle"])) if chosen and table[chosen][:, n].any()]
    return CircuitNeeds(
        name, tuple(setups[i] for i in chosen), tuple(parts["nozzle"][n] for n in useful),
        table[chosen][:, useful] if chosen else np.zeros((0, 0, covers.shape[-1]), dtype=bool),
    )  # fmt: skip


def _undominated(setups: Sequence[Setup], price: Sequence[int], table: Mask) -> list[int]:
    """Setups of which no other takes fewer parts and covers as much with every nozzle."""
    order = sorted(range(len(setups)), key=lambda i: (len(setups[i].codes), price[i], setups[i].label))
    kept: list[int] = []
    for index in order:
        beaten = any(
            set(setups[other].codes) <= set(setups[index].codes)
            and not np.any(setups[index].goes_with & ~setups[other].goes_with)
            and not np.any(table[index] & ~table[other])
            for other in kept
        )
        if not beaten:
            kept.append(index)
    return kept


def _chosen(parts: dict[str, tuple[Option, ...]], place: tuple[int, int, int]) -> list[Option]:
    return [parts[slot][index] for slot, index in zip(CIRCUIT_SLOTS[1:], place, strict=True)]


def _setup(parts: dict[str, tuple[Option, ...]], place: tuple[int, int, int], goes_with: Mask) -> Setup:
    chosen = _chosen(parts, place)
    return Setup(
        label=", ".join(option.label for option in chosen),
        codes=tuple(o.code for o in chosen if o.work == "fit" and o.code is not None),
        frees=tuple(
            now.code for slot, o in zip(CIRCUIT_SLOTS[1:], chosen, strict=True)
            if o.work == "fit" and (now := parts[slot][0]).code is not None
        ),
        joints=tuple(joint for slot, o in zip(CIRCUIT_SLOTS[1:], chosen, strict=True) if o.changed
                     for joint in JOINTS.get(slot, ())),
        goes_with=goes_with, labour_min=sum(o.labour_min for o in chosen),
        is_fitted=not any(o.changed for o in chosen),
    )  # fmt: skip


def diameter_mm(option: Option) -> float:
    """Orifice diameter of a nozzle option [mm]."""
    assert isinstance(option.figures, FittedNozzle)
    return option.figures.diameter_mm
