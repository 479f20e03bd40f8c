"""An engine as an answer tells it."""

from configurator.physics.lateness import Lateness
from configurator.reports import EngineTold


def told_engine(engine: Lateness) -> EngineTold:
    """The two unknowns of an engine, rounded."""
    return EngineTold(late_first_fuel=round(engine.first_fuel, 3), late_main_circuit=round(engine.main_circuit, 3))
