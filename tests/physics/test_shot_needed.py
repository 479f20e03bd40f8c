"""What it takes to stay on a limit: the shot needed, fed back, keeps the mixture there."""

import numpy as np
import pytest
from plain_equations import Made
from test_gas import with_shot

from configurator.physics.lateness import Lateness
from configurator.physics.mixture import Supply
from configurator.physics.shot_needed import shot_needed
from configurator.physics.tip_in import CircuitEvent

FILM_SHARE = 0.88
EVENTS = {
    "one circuit": Made().tip_in.circuits["front"],
    **{f"{name} of two": event for name, event in Made(rear_circuit=True).tip_in.circuits.items()},
}
each_event = pytest.mark.parametrize("event", EVENTS.values(), ids=EVENTS)
ENGINES = (Lateness(), Lateness(0.5, 0.6), Lateness(2.0, 2.0))
each_engine = pytest.mark.parametrize("engine", ENGINES, ids=["as modelled", "early", "late"])


@each_event
@each_engine
def test_the_shot_needed_keeps_the_mixture_on_the_limit(event: CircuitEvent, engine: Lateness) -> None:
    """Exactly, at the end of every step in which it flows, and beyond the limit where it does not."""
    needed = shot_needed(event, 0.90, FILM_SHARE, engine)
    phi = with_shot(event, needed, 1.0 - FILM_SHARE, engine)[1:]
    flows, opened = needed > 0.0, event.throttle_deg[1:] > 0.0
    assert np.all(needed >= 0.0) and flows.sum() > 15 and not flows[~opened].any()
    np.testing.assert_allclose(phi[flows], 0.90, rtol=1e-9)
    assert np.all(phi[~flows & opened] >= 0.90 * (1.0 - 1e-9))


@each_event
def test_gas_that_is_leaner_than_the_limit_is_taken_to_be_on_it(event: CircuitEvent) -> None:
    """What it would have held more before anything opened leaves with the air that the cylinders draw."""
    engine, limit = Lateness(), 1.50
    needed = shot_needed(event, limit, FILM_SHARE, engine)
    lacks = limit - float(Supply(event).base(1.0)[0])
    drawn = 0.5 * (event.drawn_per_s[1:] + event.drawn_per_s[:-1]) * np.diff(event.time_s)
    left = lacks * np.exp(-np.cumsum(drawn)) * event.phi_per_kg[1:] / event.phi_per_kg[0]
    phi, flows = with_shot(event, needed, 1.0 - FILM_SHARE, engine)[1:], needed > 0.0
    assert lacks == pytest.approx(0.4) and flows.any()
    np.testing.assert_allclose((phi + left)[flows], limit, rtol=1e-9)


def test_a_richer_limit_and_a_later_engine_ask_for_more() -> None:
    event = EVENTS["one circuit"]

    def needed_kg(limit: float, engine: Lateness, until_s: float = 2.0) -> float:
        flow = shot_needed(event, limit, FILM_SHARE, engine) * np.diff(event.time_s)
        return float(flow[event.time_s[1:] <= until_s].sum())

    assert 0.0 < needed_kg(0.8, Lateness()) < needed_kg(1.5, Lateness())
    assert needed_kg(0.8, Lateness()) < needed_kg(0.8, Lateness(main_circuit=1.5))
    assert needed_kg(0.8, Lateness(), 0.15) < needed_kg(0.8, Lateness(first_fuel=1.5), 0.15)
