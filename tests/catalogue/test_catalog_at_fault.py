"""Faults of a large catalogue: each is told as in a small one, and however many there are it does not take for ever."""

import re
from pathlib import Path
from time import process_time

import pytest
from made_catalog import write_catalog

from configurator.catalogue import references
from configurator.catalogue.load import load_catalog
from configurator.errors import BadInput

LONGEST_S = 20.0
"""Far above what it takes, and far below what it would take if every unknown code were compared with all codes."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_catalog(tmp_path, 300, seed=2)


def edit(folder: Path, family: str, old: str, new: str, times: int = -1) -> None:
    path = folder / f"{family}.csv"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, times), encoding="utf-8")


def faults(folder: Path) -> list[str]:
    with pytest.raises(BadInput) as caught:
        load_catalog(folder)
    return [str(fault).removeprefix(f"{folder}/") for fault in caught.value.faults]


def test_a_cell_that_is_wrong_in_many_rows_is_told_in_each(folder: Path) -> None:
    edit(folder, "nozzles", ",0.85,", ",85,")
    rows = (folder / "nozzles.csv").read_text(encoding="utf-8").splitlines()
    wrong = [number for number, row in enumerate(rows, 1) if ",85," in row]
    said = "column diameter_mm: found '85': 85 mm is no orifice, which measures 0.1 to 10 mm; expected"
    found = faults(folder)
    assert len(wrong) > 2 and len(found) == len(wrong)
    assert all(f"nozzles.csv, row {number}, {said}" in fault for number, fault in zip(wrong, found, strict=True))


def test_a_cell_read_in_one_column_does_not_pass_for_another(folder: Path) -> None:
    edit(folder, "spacers", ",13.8", ",yes", 1)
    edit(folder, "feed_screws", ",3.0,no", ",3.0,13.8", 1)
    assert [fault.partition(";")[0] for fault in faults(folder)] == [
        "feed_screws.csv, row 2, column free_flow: found '13.8': neither yes nor no",
        "spacers.csv, row 4, column bonnet_mm: found 'yes': not a number with a unit",
    ]


def test_faults_of_one_row_are_told_together(folder: Path) -> None:
    edit(folder, "kits", "kit-nozzles-middle,long-bench", "kit-nozzles-middle,long-bank", 1)
    edit(folder, "kits", "straight-0.78", "straight-0.7.8", 1)
    edit(folder, "kits", "kit-lobes-short,north-shelf", "kit-lobes-short,nord-shelf", 1)
    assert faults(folder) == [
        "kits.csv, row 3, column supplier: no supplier has the code long-bank; did you mean long-bench?",
        "kits.csv, row 3, column contents: no part has the code straight-0.7.8; did you mean straight-0.78?",
        "kits.csv, row 5, column supplier: no supplier has the code nord-shelf; did you mean north-shelf?",
    ]


def test_a_lever_that_no_lobe_is_made_for_is_no_lever(folder: Path) -> None:
    edit(folder, "pumps", "1.5,short", "1.5,shrot", 1)
    assert faults(folder) == [
        "pumps.csv, row 2, column lever: no lobe is made for a lever 'shrot'; expected one of long, short; "
        "did you mean short?"
    ]


def test_after_many_unknown_codes_no_more_is_said_of_what_was_meant(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    edit(folder, "kits", "lobe-", "loeb-")
    assert all("did you mean lobe-" in fault for fault in faults(folder)), "in a small catalogue each is searched for"
    monkeypatch.setattr(references, "MOST_WORDS_COMPARED", 700)
    found = [re.findall(r"no part has the code (\S+); (did you mean)?", fault)[0] for fault in faults(folder)]
    searched = [code for code, meant in found if meant]
    assert len(set(searched)) == 3 < len({code for code, _ in found})
    assert [code for code, _ in found][: len(searched)] == searched, "those that are told first"


def test_a_wrong_supplier_in_every_row_and_wrong_parts_in_every_offer(tmp_path: Path) -> None:
    folder = write_catalog(tmp_path, 10_000, seed=2)
    edit(folder, "offers", ",straight-", ",straigth-")
    edit(folder, "nozzles", ",s0", ",s-0")
    begin = process_time()
    found = faults(folder)
    assert process_time() - begin < LONGEST_S
    assert len(found) > 1_500 and "did you mean" in found[0]
    wrong = [fault for fault in found if fault.startswith("offers.csv")]
    assert "did you mean straight-" in wrong[0] and wrong[-1].endswith("or take it out")
