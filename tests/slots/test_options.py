"""What a slot offers: every part by itself, and by kind; made once a catalogue, and only what is asked for."""

from collections import Counter
from collections.abc import Hashable

import building
import pytest
from many_alike import case_of_many

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.slots.columns import Mount
from configurator.slots.options import Offered, Option
from configurator.slots.slot import CIRCUIT_SLOTS, SLOTS, Slot

SEEDS = range(4)
each_seed = pytest.mark.parametrize("seed", SEEDS)


def kind_by_hand(option: Option) -> Hashable:
    """All that an option is besides its code, label, price and labour; what is not bought is like nothing else."""
    figures = option.figures
    if option.work != "fit":
        return option.label
    if isinstance(figures, FittedNozzle):
        return (figures.diameter_mm, figures.orifices, figures.style, figures.length_mm)
    if isinstance(figures, FeedScrewFigures):
        return (figures.passage_area_mm2, figures.free_flow)
    if isinstance(figures, PumpFigures):
        return tuple(getattr(figures, name) for name in PumpFigures.model_fields if name != "code")
    if isinstance(figures, Mount):
        lobe = figures.lobe
        shape = (lobe.total_lift_mm, lobe.duration_deg, lobe.nose, lobe.table, lobe.lever, lobe.phases_deg)
        return (*shape, figures.phase_deg)
    return figures


@each_seed
def test_options_are_of_one_kind_exactly_if_they_are_alike_in_all_but_code_price_and_labour(seed: int) -> None:
    sizes: Counter[int] = Counter()
    for slot, offered in case_of_many(seed).options.items():
        kinds: dict[Hashable, int] = {}
        numbers = [kinds.setdefault(kind_by_hand(option), len(kinds)) for option in offered]
        found = offered.kind.tolist()
        assert len(set(found)) == len(kinds) == len(offered.kinds), slot
        assert len(set(zip(numbers, found, strict=True))) == len(kinds), slot
        for kind, first in enumerate(offered.kinds):
            members = [option for option, number in zip(offered, found, strict=True) if number == kind]
            assert first is min(members, key=lambda one: (one.price, one.labour_min, one.code or ""))
            sizes[len(members)] += 1
    assert max(sizes) > 2 and sizes[1] > 3


@each_seed
def test_a_slot_lists_what_is_fitted_then_the_catalogue_in_its_order_then_what_work_makes(seed: int) -> None:
    case = case_of_many(seed)
    stock = case.catalog
    redrilled = [option.label for option in case.options[SLOTS["front.nozzle"]] if option.work == "redrill"]
    sizes = [code for code in stock.nozzles if code != "straight-0.80"]
    assert redrilled
    assert [o.code for o in case.options[SLOTS["front.nozzle"]]] == [
        "straight-0.80",
        *sizes,
        *["redrill"] * len(redrilled),
    ]
    lobes = [(code, at) for code, lobe in stock.lobes.items() if code != "lobe-mid" for at in lobe.phases_deg]
    fitted = [("lobe-mid", 0.0), ("lobe-mid", 8.0)]
    mounts = [(o.code, o.figures.phase_deg) for o in case.options[SLOTS["front.lobe"]] if isinstance(o.figures, Mount)]
    assert mounts == fitted + lobes
    for slot, family in ((SLOTS["front.pump"], stock.pumps), (SLOTS["front.feed_screw"], stock.feed_screws)):
        now = case.as_fitted[slot].code
        assert [o.code for o in case.options[slot]] == [now, *(code for code in family if code != now)]


@each_seed
def test_figures_of_all_options_as_arrays_are_those_of_each(seed: int) -> None:
    for offered in case_of_many(seed).options.values():
        options = list(offered)
        assert offered.price.tolist() == [option.price for option in options]
        assert offered.labour_min.tolist() == [option.labour_min for option in options]
        boxes = [offered.boxes[box] for box in offered.box]
        assert boxes == [option.comes_with if option.changed else () for option in options]
        fitted = [option.labour_min for option in options if option.work == "fit"]
        assert offered.quickest_fit_min == min(fitted, default=0)
        for code in {option.code for option in options} - {None}:
            assert offered.of_code(str(code)) == [place for place, one in enumerate(options) if one.code == code]
        assert offered.of_code("none-such") == [] and offered.labelled("none such, 0.8 mm") is None
        assert sorted(offered.codes) == sorted(option.code for option in options if option.code)
        for option in options:
            assert offered.labelled(option.label) is next(one for one in options if one.label == option.label)
        drilled = [place for place, one in enumerate(options) if one.work == "redrill"]
        assert offered.where(lambda one: one.work == "redrill") == drilled
        assert offered[-1] is options[-1] and offered[:2] == tuple(options[:2])
        with pytest.raises(IndexError):
            offered[len(options)]


def test_every_option_has_its_kind_looked_up_and_a_stranger_has_none() -> None:
    case = case_of_many(1)
    for slot, offered in case.options.items():
        assert [offered.kind_of(option) for option in offered] == offered.kind.tolist(), slot
    pumps = case.options[SLOTS["front.pump"]]
    assert pumps.kind_of(case.options[SLOTS["spacer"]][0]) is None
    twin = Option(pumps[1].label, pumps[1].figures, "fit", pumps[1].code)
    assert pumps.kind_of(twin) is None, "made by somebody else: nothing is known of it"


def test_the_part_that_is_fitted_is_not_offered_again_and_its_kind_may_be_gone() -> None:
    case = building.case()
    fitted = building.case(building.vehicle(front={"pump": "pump-large", "lobe": "lobe-long", "phase_deg": 4}))
    fitted = Case.of(fitted.vehicle, case.catalog)
    for slot, code in ((SLOTS["front.pump"], "pump-large"), (SLOTS["front.lobe"], "lobe-long")):
        offered = fitted.options[slot]
        assert [option.work for option in offered if option.code == code] == ["none"]
        assert len(offered.kinds) == len(offered) and offered.kind.tolist() == list(range(len(offered)))
        gone = next(option for option in case.options[slot] if option.code == code)
        assert offered.kind_of(gone) is None


def test_vehicles_share_the_options_of_their_catalogue_and_none_is_made_before_it_is_asked_for() -> None:
    stock = case_of_many(2).catalog
    one, other = (Case.of(building.vehicle(engine={"idle_rpm": rpm}), stock) for rpm in (650, 900))
    pumps, others = one.options[SLOTS["front.pump"]], other.options[SLOTS["front.pump"]]
    assert pumps[2] is others[2] and pumps[0] is not others[0]
    nozzles = one.options[SLOTS["front.nozzle"]]
    before = len(nozzles._stock._made)
    assert nozzles[5] is nozzles[5] and len(nozzles._stock._made) == before + 1


@each_seed
def test_what_is_tabulated_is_once_a_kind_and_holds_for_every_part_of_it(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    case, fresh = case_of_many(seed), case_of_many(seed)
    shot = case.tabulated("front").shot
    assert shot.delay_ms.shape[:4] == tuple(len(case.on_offer[Slot("front", slot)]) for slot in CIRCUIT_SLOTS)
    for step in range(1, 6):
        places = {slot: (3 * step) % len(offered) for slot, offered in case.options.items()}
        found = findings(fresh, {slot: fresh.options[slot][place] for slot, place in places.items()})
        with monkeypatch.context() as patch:
            patch.setattr(Case, "_worked_out", None)  # whoever works something out now fails
            assert findings(case, {slot: case.options[slot][place] for slot, place in places.items()}) == found


def test_a_plain_list_is_offered_as_kinds_of_its_own() -> None:
    options = tuple(case_of_many(0).options[SLOTS["front.pump"]])
    offered = Offered.of(options)
    assert offered.kinds == tuple(offered) == options and offered.kind.tolist() == list(range(len(options)))
    assert Offered.of(offered) is offered
