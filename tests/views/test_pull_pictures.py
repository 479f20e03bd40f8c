"""The pull's picture is the data, of one choice or of two, and its words are what a driver would say of each."""

from dataclasses import replace

import numpy as np
import pytest
from test_band import EXAMPLES, chosen, example

from configurator.judging.pull import PullGiven, pull_of
from configurator.physics.pull import PULL_LAG_S, relative_work
from configurator.views.pull_pictures import pull_picture, says_of_pull
from configurator.views.vehicle_pictures import PICTURES


def given(*words: str, name: str = "roadster", circuit: str = "front") -> PullGiven:
    case = example(name).with_linkage_set()
    return pull_of(case, circuit, chosen(case, *words))


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_pull_given_is_the_lagged_air_less_what_its_mixture_costs(name: str) -> None:
    """Stepped through anew, finely: each pair of barrels answers for its share of the air."""
    case = example(name).with_linkage_set()
    for circuit in case.circuit_names:
        pull, event = given(name=name, circuit=circuit), case.circuits[circuit].event
        fine = np.linspace(0.0, event.time_s[-1], 40_000)
        air = np.interp(fine, event.time_s, event.pressure_pa - event.pressure_pa[0])
        lost = event.pressure_pa * event.air_share * (1.0 - relative_work(pull.mixture.phi))
        wanted = np.array([air, air - np.interp(fine, event.time_s, lost)])
        lagged = np.zeros_like(wanted)
        keep = np.exp(-(fine[1] - fine[0]) / PULL_LAG_S)
        middle = 0.5 * (wanted[:, 1:] + wanted[:, :-1])
        for step in range(len(fine) - 1):
            lagged[:, step + 1] = middle[:, step] + (lagged[:, step] - middle[:, step]) * keep
        best, have = 100.0 * lagged / lagged[0].max()
        assert pull.best_percent == pytest.approx(np.interp(event.time_s, fine, best), abs=0.2)
        assert pull.given_percent == pytest.approx(np.interp(event.time_s, fine, have), abs=0.2)


def test_the_pull_drawn_is_the_data() -> None:
    pull = given()
    above, below = pull_picture({"as fitted": pull}).axes
    lines = {line.get_label(): line for line in above.lines}
    assert np.array_equal(lines["as fitted"].get_ydata(), pull.given_percent)
    assert np.array_equal(lines["best of this air"].get_ydata(), pull.best_percent)
    (mixture,) = below.lines
    assert np.array_equal(mixture.get_ydata(), pull.mixture.phi)
    assert above.get_xlim() == below.get_xlim() and above.get_ylim() != below.get_ylim()


def test_what_is_missing_is_shaded_between_the_last_choice_and_the_best() -> None:
    one, other = given(), given("front.nozzle=0.85mm")
    (above, _) = pull_picture({"as fitted": one, "as proposed": other}).axes
    areas = dict(zip(*reversed(above.get_legend_handles_labels()), strict=True))
    edge = np.concatenate([path.vertices for path in areas["missing as proposed"].get_paths()])
    gap = other.best_percent - other.given_percent
    widest = int(gap.argmax())
    at = edge[np.isclose(edge[:, 0], other.mixture.time_ms[widest]), 1]
    assert at.min() == pytest.approx(other.given_percent[widest])
    assert at.max() == pytest.approx(other.best_percent[widest])


@pytest.mark.parametrize("name", ["roadster", "hill-climber"])
def test_a_choice_stands_beside_what_is_fitted(name: str) -> None:
    """Both pulls against one best, below them both mixtures, each pair drawn alike."""
    case = example(name).with_linkage_set()
    fitted, choice = given(name=name), chosen(case, "front.nozzle=0.90mm")
    figure, says = PICTURES["pull"](case, "front", choice, None)
    proposed = pull_of(case, "front", choice)
    above, below = figure.axes
    pulls, mixtures = ({line.get_label(): line for line in axes.lines} for axes in (above, below))
    assert list(pulls) == ["best of this air", "as fitted", "with the changes"] and list(mixtures) == [*pulls][1:]
    for called, pull in (("as fitted", fitted), ("with the changes", proposed)):
        assert np.array_equal(pulls[called].get_ydata(), pull.given_percent)
        assert np.array_equal(mixtures[called].get_ydata(), pull.mixture.phi)
        assert pulls[called].get_linestyle() == mixtures[called].get_linestyle()
    assert np.array_equal(fitted.best_percent, proposed.best_percent)
    assert pulls["as fitted"].get_linestyle() != pulls["with the changes"].get_linestyle()
    assert says == f"As fitted: {fitted.mixture.felt}. With the changes: {proposed.mixture.felt}."
    title = above.get_title("left")
    assert f"with the changes: {proposed.mixture.parts[0]}" in title.replace("\N{NO-BREAK SPACE}", " ").replace(
        "\n", " "
    )
    assert title.count("felt:") == 2 and title.count(proposed.mixture.parts[1].replace(" ", "\N{NO-BREAK SPACE}")) == 1


def test_a_change_elsewhere_is_no_second_pull() -> None:
    """The other circuit's nozzle and a spacer change nothing of this one."""
    case = example("hill-climber").with_linkage_set()
    choice = chosen(case, "rear.nozzle=1.00mm", "spacer=spacer-6")
    figure, says = PICTURES["pull"](case, "front", choice, None)
    assert says == f"As fitted: {given(name='hill-climber').mixture.felt}."
    assert [line.get_label() for line in figure.axes[0].lines] == ["best of this air", "as fitted"]


def test_the_same_parts_twice_are_said_once() -> None:
    (above, _) = pull_picture({"as fitted": given(), "as proposed": given()}).axes
    assert "as proposed: the same parts" in above.get_title("left").replace("\N{NO-BREAK SPACE}", " ")


def test_a_circuit_that_does_not_open_is_felt_as_nothing() -> None:
    pull = given()
    closed = replace(pull, mixture=replace(pull.mixture, counts=np.zeros_like(pull.mixture.counts)))
    assert says_of_pull({"as fitted": closed}) == "The throttle of this circuit does not open: nothing is felt of it."
    assert says_of_pull({"as fitted": closed, "with the changes": pull}) != says_of_pull({"as fitted": closed})
