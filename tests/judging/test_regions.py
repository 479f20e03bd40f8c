"""Regions of real combinations, parts of a catalogue on whole vehicles, against judging them again in other engines."""

from functools import cache

import building
import numpy as np
import pytest

from configurator.arrays import Array, Mask
from configurator.judging.case import Case, margins
from configurator.judging.findings import findings
from configurator.judging.right import DEMAND, OF_FELT_SIZES
from configurator.judging.table import as_sure_as_can_be, tabulate_circuit
from configurator.learning.belief import prior
from configurator.physics.lateness import AXIS, FIRST_FUEL, MAIN_CIRCUIT, POINTS, Lateness
from configurator.rules import RULES
from configurator.slots.columns import JudgedShots
from configurator.slots.options import Choice
from configurator.slots.slot import CIRCUIT_SLOTS, Slot
from configurator.slots.wishes import read_wishes

CARS = {
    "truck": ("front", building.vehicle()),
    "heavy, tall gears": ("front", building.vehicle(driveline={"mass_kg": 3000, "overall_ratio": 4.0})),
    "converter": ("front", building.vehicle({**building.TRUCK, "driveline": {"transmission": "converter",
                                                                             "stall_rpm": 1900}})),
    "long manifold": ("front", building.vehicle(manifold={"distance_to_valves_mm": 450})),
    "rear circuit": ("rear", building.two_circuits()),
    "fast idle, high up": ("front", building.vehicle(engine={"idle_rpm": 1100, "altitude_m": 1500})),
    "gentle opening from a cruise": ("front", building.vehicle(tip_in={"start": "cruise", "opening_time_s": 0.4})),
}  # fmt: skip
OVER_PARTS = (slice(None),) * len(CIRCUIT_SLOTS) + (0, 0)
"""Spacer and pad as they are."""
each_car = pytest.mark.parametrize("name", CARS)
SIZES = [building.nozzle(size) for size in (0.70, 0.90, 1.10)] + [building.nozzle(0.90, "aimed")]


@cache
def car(name: str) -> tuple[str, Case]:
    circuit, vehicle = CARS[name]
    return circuit, building.easy_case(
        vehicle, nozzles=[building.nozzle(0.80), *SIZES], screws=building.SCREWS, operations=[], spacers=[]
    )


@cache
def judged(name: str) -> JudgedShots:
    circuit, case = car(name)
    return case.columns(circuit, case.options, with_regions=True).shot.at(OVER_PARTS)


def regions(name: str) -> Mask:
    """Whether each combination is right for every engine of the grid, (nozzle, screw, pump, lobe, point)."""
    found = judged(name).regions
    assert found is not None
    return found.covers


def meets(case: Case, circuit: str) -> tuple[Mask, Array]:
    """Whether each combination keeps the limits in the case's engine, by its figures; and how far the nearest lies from
    its limit, in parts of it."""
    table = case.columns(circuit, case.options)
    shot: JudgedShots = table.shot.at(OVER_PARTS)
    lasts = margins(RULES["rear-shot-lasts-until-the-main-delivers"], table)[OVER_PARTS] >= 0
    limits = case.catalog.limits
    parts = np.array([
        shot.delay_ms / limits.delay_most_ms, shot.lean_sag_percent / limits.sag_most_percent,
        shot.rich_sag_percent / limits.sag_most_percent, shot.smoke_ms / limits.smoke_most_ms,
    ])  # fmt: skip
    return lasts & np.all(parts <= 1.0, axis=0), np.asarray(np.abs(parts - 1.0).min(axis=0))


@each_car
def test_a_region_holds_the_engines_in_which_a_combination_is_right(name: str) -> None:
    """Judged again in engines anywhere in the grid, one at a time: without nodes, cubics or half the times."""
    circuit, case = car(name)
    inside = regions(name)
    pumps = judged(name).pumps
    wrong, far, seen = 0, 0, 0
    points = np.random.default_rng(len(name)).choice(POINTS * POINTS, 12, replace=False)
    for point in points:
        right, near = meets(case.at(Lateness(float(FIRST_FUEL[point]), float(MAIN_CIRCUIT[point]))), circuit)
        differ = inside[..., point] != right
        wrong, seen = wrong + int(differ.sum()), seen + int(pumps.sum())
        far += int((near[differ] > 0.06).sum())
    assert wrong <= 0.015 * seen, "at an edge"
    assert far <= 0.003 * seen, "where a rich pull drowns all at once"
    assert not inside[~pumps].any()
    assert 0.02 < inside[pumps].mean() < 0.98, "else this says little"


@each_car
def test_a_region_is_one_piece_along_either_unknown(name: str) -> None:
    """For each lateness of the first fuel a combination is right between a low and a high of the main circuit's, and
    the other way round."""
    grids = regions(name).reshape(-1, POINTS, POINTS)
    for lines in (grids.reshape(-1, POINTS), grids.transpose(0, 2, 1).reshape(-1, POINTS)):
        edges = np.abs(np.diff(lines.astype(int), axis=1, prepend=0, append=0)).sum(axis=1)
        assert np.mean(edges > 2) < 2e-3


@pytest.mark.parametrize("name", ["truck", "rear circuit"])
@pytest.mark.parametrize("at", [(0.7, 0.7), (1.0, 1.0), (1.4, 0.8)])
def test_a_combination_keeps_the_rules_of_the_pull_where_its_region_holds_the_engine(
    name: str, at: tuple[float, float]
) -> None:
    circuit, case = car(name)
    first, main = (float(AXIS[np.abs(AXIS - one).argmin()]) for one in at)
    engine = Lateness(first, main)
    assert (FIRST_FUEL[engine.point], MAIN_CIRCUIT[engine.point]) == (first, main)
    table = case.at(engine).columns(circuit, case.options)
    in_one = [rule for rule in DEMAND if rule not in ("right-for-enough-engines", *OF_FELT_SIZES)]
    assert len(in_one) == 6
    holds = np.all([margins(RULES[rule], table)[..., 0, 0] >= 0 for rule in in_one], axis=0)
    assert np.mean(holds != regions(name)[..., engine.point]) <= 0.02


# --- how sure ---------------------------------------------------------------------------------------------------------


def some_belief(seed: int) -> Array:
    """A hill of belief somewhere in the grid, and a few engines quite left out."""
    dice = np.random.default_rng(seed)
    first, main, wide = dice.uniform(-0.3, 0.3), dice.uniform(-0.3, 0.3), dice.uniform(0.1, 0.4)
    masses = np.exp(-0.5 * ((np.log(FIRST_FUEL) - first) ** 2 + (np.log(MAIN_CIRCUIT) - main) ** 2) / wide**2)
    masses[dice.random(len(masses)) < 0.1] = 0.0
    return np.asarray(masses / masses.sum())


def choices(case: Case, circuit: str) -> list[tuple[tuple[int, ...], Choice]]:
    """Every combination of kinds of a circuit's parts, the rest as fitted."""
    offered = [case.on_offer[Slot.of(circuit, slot)] for slot in CIRCUIT_SLOTS]
    slots = [Slot.of(circuit, slot) for slot in CIRCUIT_SLOTS]
    return [
        (place, case.as_fitted | {slot: listed[at] for slot, listed, at in zip(slots, offered, place, strict=True)})
        for place in np.ndindex(*map(len, offered))
    ]


def share_right(case: Case, circuit: str, choice: Choice, masses: Array) -> float:
    """The belief in engines that a choice is right for, added up one by one from its own region."""
    return sum(float(mass) for mass, inside in zip(masses, engines_right(case, circuit, choice), strict=True) if inside)


def engines_right(case: Case, circuit: str, choice: Choice) -> Mask:
    """Whether a choice is right in each engine of the grid."""
    listed = {slot: (option,) for slot, option in choice.items()}
    found = case.columns(circuit, listed, with_regions=True).shot.regions
    assert found is not None
    return np.asarray(found.covers.ravel(), dtype=bool)


def keeps_the_rest(case: Case, circuit: str, choice: Choice) -> bool:
    """Whether nothing but what is felt, and what room there is, speaks against a choice."""
    return not any(
        f.circuit == circuit and f.holds is False and f.severity == "conflict" and RULES[f.rule].is_choosable
        and f.rule not in (*DEMAND, "pump-clears-the-manifold-pad") for f in findings(case, choice)
    )  # fmt: skip


@cache
def small() -> Case:
    return building.easy_case(
        nozzles=[building.nozzle(size) for size in (0.80, 1.00, 0.70)], lobes=building.LOBES[1:3],
        pumps=building.PUMPS[:1], operations=[], spacers=[],
    ).with_linkage_set()  # fmt: skip


@pytest.mark.parametrize("seed", [1, 2])
def test_how_sure_a_combination_is_to_be_right_is_the_belief_inside_its_region(seed: int) -> None:
    masses = some_belief(seed)
    case = small().asking(masses, 0.5)
    table = case.tabulated("front").shot.sure_percent[..., 0, 0]
    for place, choice in choices(case, "front")[::5]:
        assert table[place] == pytest.approx(100.0 * share_right(small(), "front", choice, masses), abs=0.2)
    assert table.max() > table.min() + 5.0


@pytest.mark.parametrize(
    "words", [(), ("front.nozzle=straight-0.70",), ("front.lobe=lobe-high", "front.feed_screw=fitted")]
)
def test_no_more_is_asked_for_than_any_allowed_combination_can_be_sure_of(words: tuple[str, ...]) -> None:
    """The surest of all that the wishes and the other rules leave, by looking at each."""
    masses = some_belief(3)
    wishes = read_wishes(small().options, [], list(words), [])
    allowed = {wish.slot: {small().options[wish.slot][at] for at in wish.allowed} for wish in wishes}
    most = max(
        share_right(small(), "front", choice, masses)
        for _, choice in choices(small(), "front")
        if all(choice[slot] in some for slot, some in allowed.items()) and keeps_the_rest(small(), "front", choice)
    )
    assert 0.02 < most < 0.99
    modest, much = (
        as_sure_as_can_be(small().asking(masses, 0.5 * most), wishes),
        as_sure_as_can_be(small().asking(masses, 0.999), wishes),
    )
    assert modest.asked is not None and modest.asked.share == 0.5 * most
    assert much.asked is not None and much.asked.share == pytest.approx(0.9 * most, abs=2e-3)
    margin = margins(RULES["right-for-enough-engines"], much.tabulated("front"))
    assert margin.max() >= 0.0 > margin.min()
    again = margins(RULES["right-for-enough-engines"], small().asking(masses, much.asked.share).tabulated("front"))
    np.testing.assert_array_equal(margin, again)


@pytest.mark.parametrize(("room", "words"), [(True, ()), (False, ()), (True, ("spacer=none",)), (True, ("spacer-6",))])
def test_what_has_no_room_in_the_car_is_not_counted_on(room: bool, words: tuple[str, ...]) -> None:
    """The larger pump is surer. On a low pad it needs a spacer, which may be wished away, or be too high itself."""
    clearances = {"pad_clearance_mm": 16, "bonnet_clearance_mm": 40 if room else 12}
    car = building.vehicle(manifold=clearances, front={"nozzle": "straight-0.70"})
    lobes = (building.lobe("lobe-mid", 3.0), building.lobe("lobe-long", 4.0, lever="long", phases_deg=(4.0,)))
    case = building.easy_case(
        car, nozzles=[building.nozzle(0.70), building.nozzle(0.80)], lobes=lobes,
        spacers=[building.spacer(6.0)], operations=[],
    ).with_linkage_set()  # fmt: skip
    wishes = read_wishes(case.options, [], [word for word in words if "=" in word], [])
    masses = prior(Lateness(1.3, 1.3), 0.25).masses
    sure = case.asking(masses, 0.5).tabulated("front").shot.sure_percent[..., 0, 0].max(axis=(0, 1, 3))
    assert sure[1] > sure[0] + 2.0 > 5.0, "else this says nothing"
    asked = as_sure_as_can_be(case.asking(masses, 0.999), wishes).asked
    larger = room and "spacer=none" not in words
    assert asked is not None and asked.share == pytest.approx(0.9 * sure[1 if larger else 0] / 100.0, abs=1e-6)


def test_where_nothing_is_right_all_is_asked_for_all_the_same() -> None:
    strict = building.with_limits(small(), delay_most_ms=1.0)
    case = as_sure_as_can_be(strict.asking(some_belief(4), 0.9))
    assert case.asked is not None and case.asked.share == 0.9
    assert (margins(RULES["right-for-enough-engines"], case.tabulated("front")) < 0).all()


def test_of_two_circuits_as_much_is_asked_for_as_both_reach_together() -> None:
    lobes = [building.lobe(code, mm, phases_deg=(0.0,)) for code, mm in (("lobe-mid", 1.8), ("b", 1.2), ("c", 2.6))]
    two = building.easy_case(
        building.two_circuits(), nozzles=[building.nozzle(0.80), building.nozzle(0.90)], lobes=lobes,
        screws=building.SCREWS[:1], pumps=building.PUMPS[:1], operations=[], spacers=[], rear_main_delivers_share=0.05,
    )  # fmt: skip
    masses = prior(Lateness(), 0.3).masses
    front, rear = (
        [engines_right(two, name, choice) for _, choice in choices(two, name) if keeps_the_rest(two, name, choice)]
        for name in ("front", "rear")
    )
    alone = [max(float(masses @ one) for one in own) for own in (front, rear)]
    together = max(float(masses @ (one & other)) for one in front for other in rear)
    case = as_sure_as_can_be(two.asking(masses, 0.9999))
    assert 0.05 < together < 0.99 * min(alone), "else this says nothing"
    assert case.asked is not None and case.asked.share == pytest.approx(0.9 * together, abs=2e-3)


def test_in_one_engine_nothing_is_asked_of_others() -> None:
    asked = small().asking(some_belief(6), 0.8)
    assert asked.at(asked.engine).asked is None and asked.at(asked.engine) == small()
    assert np.isnan(small().tabulated("front").shot.sure_percent).all()
    assert np.isposinf(margins(RULES["right-for-enough-engines"], small().tabulated("front"))).all()


def test_a_circuits_table_holds_what_each_choice_breaks() -> None:
    """Every combination of kinds, and no work that cannot be undone; rules as check reads them."""
    case = building.easy_case(nozzles=building.NOZZLES[:3], screws=building.SCREWS[:1])
    table = tabulate_circuit(case, "front")
    assert "redrill" not in {option.work for option in table.options["nozzle"]}
    shape = tuple(len(table.options[slot]) for slot in CIRCUIT_SLOTS)
    assert table.columns.shot.regions is not None
    dice = np.random.default_rng(8)
    for flat in dice.choice(int(np.prod(shape)), 8, replace=False):
        place = np.unravel_index(flat, shape)
        choice = dict(case.as_fitted)
        for slot, at in zip(CIRCUIT_SLOTS, place, strict=True):
            choice[Slot.of("front", slot)] = table.options[slot][int(at)]
        found = {
            f.rule for f in findings(case, choice)
            if f.circuit == "front" and f.holds is False and f.severity == "conflict" and RULES[f.rule].is_choosable
        }  # fmt: skip
        broken = {rule for rule, mask in table.broken.items() if mask[place]}
        silent = broken - found  # a pull that never comes has no figure to tell
        assert found <= broken and (not silent or "lobe-is-made-for-the-lever" in found)
