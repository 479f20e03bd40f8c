"""The demand band and the delivered shot, against time: the picture that tells whether a shot fits."""

from dataclasses import dataclass

import numpy as np

from configurator.case import Case
from configurator.findings import Choice
from configurator.options import Option
from configurator.physics.fuel_path import Array
from configurator.physics.verdict import shot_needed


@dataclass(frozen=True)
class Band:
    """Flows of one circuit at the times [ms]: needed to stay at the lean and the rich limit, and delivered [cc/s]."""

    title: str
    time_ms: Array
    lean_cc_s: Array
    rich_cc_s: Array
    delivered_cc_s: Array
    hole_ms: float
    flood_ms: float


def band_of(case: Case, name: str, choice: Choice) -> Band:
    """Band and delivered shot of one circuit with a choice of parts."""
    circuit = case.circuits[name]
    parts: list[Option] = [choice[f"{name}.{slot}"] for slot in ("nozzle", "feed_screw", "pump", "lobe")]
    nozzle, screw, pump, mount = ([option.figures] for option in parts)
    slack_mm = case.slack_mm(name, [parts[2].changed], [parts[3].changed])[0]
    shot = circuit.deliver(nozzle, screw, pump, mount, slack_mm)  # type: ignore[arg-type]
    delivered = circuit.flow_kg_s(shot)[:, 0]
    share = float(circuit.film_share(nozzle)[0])  # type: ignore[arg-type]
    shot_column = case.columns(name, {slot: (option,) for slot, option in choice.items()})["shot"]
    to_cc_s = 1e6 / circuit.event.fuel.density_kg_m3
    limits = (circuit.allowed.lean_phi, circuit.allowed.rich_phi)
    lean, rich = (shot_needed(circuit.event, phi, share, case.factor) * to_cc_s for phi in limits)
    fitted = ", ".join(option.label for option in parts)
    return Band(
        f"{case.vehicle.name}, {name} circuit\n{fitted}",
        circuit.event.time_s * 1e3, lean, rich, np.append(delivered, 0.0) * to_cc_s,
        float(shot_column.hole_ms.item()), float(shot_column.flood_ms.item()),
    )  # fmt: skip
