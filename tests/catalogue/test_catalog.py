"""The shipped catalogue, and how a catalogue is read: every way a spreadsheet writes a table, every fault at once."""

import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from configurator.car.fitted import FittedNozzle, sold_as
from configurator.car.standard import STANDARD_PARTS, STANDARD_PUMP
from configurator.catalogue.limits import Limits
from configurator.catalogue.load import FAMILIES, Catalog, load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import Pump
from configurator.errors import BadInput
from configurator.rules import RULES
from configurator.slots.columns import feed_screw_column, nozzle_column, pump_column

Edit = Callable[[str, str, str], None]


@pytest.fixture(scope="module")
def shipped() -> Catalog:
    return load_catalog(shipped_catalog_dir())


@pytest.fixture
def directory(tmp_path: Path) -> Path:
    for family in FAMILIES:
        shutil.copy(shipped_catalog_dir() / f"{family}.csv", tmp_path)
    return tmp_path


@pytest.fixture
def edit(directory: Path) -> Edit:
    def replace(family: str, old: str, new: str) -> None:
        path = directory / f"{family}.csv"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    return replace


def faults(directory: Path) -> list[str]:
    with pytest.raises(BadInput) as caught:
        load_catalog(directory)
    return [str(fault).removeprefix(f"{directory}/") for fault in caught.value.faults]


@pytest.mark.parametrize("style", ["straight", "aimed"])
def test_nozzles_cover_the_sizes_in_use_in_fine_steps(shipped: Catalog, style: str) -> None:
    sizes = sorted(nozzle.diameter_mm for nozzle in shipped.nozzles.values() if nozzle.style == style)
    assert len(sizes) >= 25
    assert (sizes[0], sizes[-1]) == (0.60, 1.32)
    assert max(high - low for low, high in pairwise(sizes)) <= 0.03 + 1e-9


def test_only_straight_nozzles_may_be_redrilled(shipped: Catalog) -> None:
    assert all(nozzle.redrillable == (nozzle.style == "straight") for nozzle in shipped.nozzles.values())


def test_a_nozzle_code_says_its_size(shipped: Catalog) -> None:
    assert all(code == f"{part.style}-{part.diameter_mm:.2f}" for code, part in shipped.nozzles.items())


def test_enough_of_every_family(shipped: Catalog) -> None:
    counts = {family: len(getattr(shipped, family)) for family in ("feed_screws", "pumps", "lobes", "spacers")}
    assert all(counts[family] >= least for family, least in zip(counts, (3, 5, 10, 5), strict=True))
    joints = {"nozzle_seat", "pump_cover", "carburettor_flange", "intake_manifold"}
    assert {part.joint for part in shipped.consumables.values()} == joints
    assert {operation.kind for operation in shipped.operations.values()} == {"redrill_nozzle", "relieve_pad"}
    assert not any(operation.reversible for operation in shipped.operations.values())


def test_lobes_of_the_larger_pump_have_one_phase_others_two_or_three(shipped: Catalog) -> None:
    for lobe in shipped.lobes.values():
        assert len(lobe.phases_deg) in ((1,) if lobe.lever == "long" else (1, 2, 3)), lobe.code
    assert sum(lobe.lever == "long" for lobe in shipped.lobes.values()) >= 3
    assert any(lobe.table for lobe in shipped.lobes.values())


def test_every_lobe_suits_a_pump_and_tall_ones_do_not_suit_the_soft_one(shipped: Catalog) -> None:
    clearance = shipped.limits.overtravel_clearance_mm
    suits = {
        (pump.code, lobe.code): pump.lever_ratio * lobe.total_lift_mm + clearance <= pump.safe_stroke_mm
        for pump in shipped.pumps.values()
        for lobe in shipped.lobes.values()
        if pump.lever == lobe.lever
    }
    assert all(fits for (pump, _), fits in suits.items() if pump != "pump-3cc-soft")
    assert {fits for (pump, _), fits in suits.items() if pump == "pump-3cc-soft"} == {True, False}


def test_a_larger_pump_comes_with_its_lobe_and_a_screw_that_does_for_its_largest_nozzle(shipped: Catalog) -> None:
    """Each is good to more than the one before, the largest beyond all sizes of the trade."""
    larger = [pump for pump in shipped.pumps.values() if pump.capacity_cc > STANDARD_PUMP.capacity_cc]
    most_mm = [_good_to_mm(shipped, pump) for pump in larger]
    assert len(larger) >= 3 and most_mm == sorted(most_mm)
    assert most_mm[-2] < shipped.limits.nozzle_most_mm < most_mm[-1]
    screw_rule = RULES["feed-screw-is-not-the-restriction"]
    for pump, mm in zip(larger, most_mm, strict=True):
        assert sorted(map(shipped.family_of, pump.comes_with)) == ["feed_screws", "lobes"]
        assert all(shipped.lobes[code].lever == pump.lever for code in pump.comes_with if code in shipped.lobes)
        (screw,) = (shipped.feed_screws[code] for code in pump.comes_with if code in shipped.feed_screws)
        nozzle = FittedNozzle(diameter_mm=min(mm, shipped.limits.nozzle_most_mm), style="straight")
        cut, most = screw_rule.reads(
            nozzle_column([nozzle]), feed_screw_column([screw]), SimpleNamespace(screw_coefficient=0.7), shipped.limits
        )
        assert np.all(cut <= most), pump.code


def _good_to_mm(shipped: Catalog, pump: Pump) -> float:
    nozzle = nozzle_column([FittedNozzle(diameter_mm=1.0, style="straight")])
    _, most = RULES["large-nozzle-has-the-larger-pump"].reads(nozzle, pump_column([pump], [True]), shipped.limits)
    return float(np.asarray(most).item())


def test_the_standard_pump_of_a_car_is_the_one_that_is_sold(shipped: Catalog) -> None:
    assert {sold_as(STANDARD_PARTS["pump"][word], shipped.pumps).code for word in STANDARD_PARTS["pump"]} == {
        "pump-3cc", "pump-5cc",
    }  # fmt: skip


def test_limits_are_read_by_attribute_and_keep_their_basis(shipped: Catalog) -> None:
    assert set(shipped.limit_rows) == set(Limits.model_fields)
    assert all(getattr(shipped.limits, name) == row.value for name, row in shipped.limit_rows.items())
    assert shipped.limit_rows["larger_pump_from_mm"].basis == "common practice, no source"
    assert shipped.limit_rows["delay_most_ms"].basis == "assumed"


def test_family_of_an_unknown_code_is_empty(shipped: Catalog) -> None:
    assert (shipped.family_of("lobe-beck"), shipped.family_of("lobe-nowhere")) == ("lobes", "")


@pytest.mark.parametrize("delimiter", [";", "\t"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_tables_as_spreadsheets_write_them(directory: Path, shipped: Catalog, delimiter: str, newline: str) -> None:
    path = directory / "pumps.csv"
    text = path.read_text(encoding="utf-8").replace(",", delimiter)
    if delimiter == ";":
        text = text.replace(".", ",")
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", newline).encode())
    assert load_catalog(directory).pumps == shipped.pumps


def test_a_decimal_comma_in_a_measured_table(directory: Path, shipped: Catalog) -> None:
    path = directory / "lobes.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",", ";").replace(".", ","), encoding="utf-8")
    assert load_catalog(directory).lobes == shipped.lobes


def test_columns_may_stand_in_any_order_and_rows_be_blank(directory: Path, shipped: Catalog) -> None:
    rows = [
        "",
        "passage_area_mm2,code,free_flow,supplier,labour_min,price",
        ",,,,,",
        " 3.0 ,screw-plain,NO,north-shelf,5,4.20",
    ]
    rows += ["4.4,screw-wide,no,north-shelf,5,6.8", "6.5,screw-freeflow,yes,long-bench,5,9.5", "", ""]
    (directory / "feed_screws.csv").write_text("\n".join(rows), encoding="utf-8")
    assert load_catalog(directory).feed_screws == shipped.feed_screws


def test_row_numbers_are_those_of_the_spreadsheet(directory: Path, edit: Edit) -> None:
    edit("suppliers", "north-shelf,North Shelf Stores,", 'north-shelf,"North Shelf\nStores",')
    edit("suppliers", "long-bench,", "\n\nLong Bench,")
    assert any(fault.startswith("suppliers.csv, row 5, column code: found 'Long Bench'") for fault in faults(directory))


def test_every_fault_of_every_file_at_once(directory: Path, edit: Edit) -> None:
    edit("nozzles", "straight-0.60,north-shelf,13.50,15,0.60", "straight-0.60,north-shelf,-1,15,6.0 mm")
    edit("pumps", ",short,1.0,14,", ",short,1.0,deep,")
    edit("limits", "sag_most_percent,6,", "sag_most_percent,60,")
    (directory / "spacers.csv").unlink()
    found = faults(directory)
    assert [fault.split(":")[0] for fault in found] == [
        "nozzles.csv, row 2, column diameter_mm",
        "nozzles.csv, row 2, column price",
        "pumps.csv, row 2, column depth_below_bowl_mm",
        "spacers.csv",
        "limits.csv, row 15, column value",
    ]


def test_a_workshop_overrules_a_limit(directory: Path, edit: Edit) -> None:
    edit(
        "limits",
        'screw_cut_most_percent,10,%,"common practice, no source"',
        "screw_cut_most_percent,6,%,owner's figure",
    )
    catalog = load_catalog(directory)
    assert catalog.limits.screw_cut_most_percent == 6
    assert catalog.limit_rows["screw_cut_most_percent"].basis == "owner's figure"


OLD_LIMITS = (
    'hole_most_ms,50,ms,assumed,,"Longest lean spell that goes unfelt."',
    'flood_most_ms,150,ms,assumed,,"Longest rich spell that goes unfelt."',
    'lean_phi,0.80,,assumed,,"Leaner than this hesitates."',
    'rich_phi,1.50,,assumed,,"Richer than this is felt."',
)
NEW_LIMITS = ("delay_most_ms", "sag_most_percent", "smoke_most_ms", "pop_back_most_cycles")


@pytest.mark.parametrize("taken_out", [(), NEW_LIMITS])
def test_limits_of_an_earlier_version_are_told_what_took_their_place(
    directory: Path, taken_out: tuple[str, ...]
) -> None:
    """A workshop's own file, with the old rows beside the new ones or in their place."""
    path = directory / "limits.csv"
    rows = [row for row in path.read_text(encoding="utf-8").splitlines() if not row.startswith(taken_out or "never")]
    path.write_text("\n".join([*rows, *OLD_LIMITS]), encoding="utf-8")
    found = faults(directory)
    gone, missing = found[: len(OLD_LIMITS)], found[len(OLD_LIMITS) :]
    for number, (row, fault) in enumerate(zip(OLD_LIMITS, gone, strict=True), len(rows) + 1):
        name = row.split(",")[0]
        assert fault.startswith(f"limits.csv, row {number}, column name: {name} is a limit no more; "), fault
        assert "did you mean" not in fault and "sag_most_percent" in fault
        assert ("delay_most_ms" if name in ("hole_most_ms", "lean_phi") else "smoke_most_ms") in fault
    assert [fault.split(";")[0] for fault in missing] == [
        f"limits.csv: the limit {name} is missing" for name in taken_out
    ]


def test_how_far_a_nozzle_goes_at_once_is_a_limit_no_more(directory: Path) -> None:
    path = directory / "limits.csv"
    old = 'first_move_mm,0.08,mm,assumed,,"First trial."\nfine_move_mm,0.04,mm,assumed,,"Near the optimum."\n'
    path.write_text(path.read_text(encoding="utf-8") + old, encoding="utf-8")
    gone = "is a limit no more; what is tried next says itself how far a nozzle goes; remove the row"
    assert [fault.partition("column name: ")[2] for fault in faults(directory)] == [
        f"first_move_mm {gone}", f"fine_move_mm {gone}",
    ]  # fmt: skip


def test_a_pump_may_come_with_another_pump(directory: Path) -> None:
    path = directory / "pumps.csv"
    rows = path.read_text(encoding="utf-8").splitlines()
    rows = [row.rpartition(",")[0] + ",pump-3cc" if row.startswith("pump-3cc-soft,") else row for row in rows]
    path.write_text("\n".join(rows), encoding="utf-8")
    assert load_catalog(directory).pumps["pump-3cc-soft"].comes_with == ("pump-3cc",)
