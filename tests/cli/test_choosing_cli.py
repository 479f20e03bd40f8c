"""`tipin why` and `tipin compare` as a person meets them."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.cli import app
from configurator.errors import TipinError
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.slots.wishes import choose, read_wishes

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "catalog" / "examples"
ROADSTER, TRUCK = str(EXAMPLES / "roadster.toml"), str(EXAMPLES / "tow-truck.toml")


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words), env={"TIPIN_BOOK": "", "COLUMNS": "100"})


@pytest.fixture(autouse=True)
def no_book(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))


def test_a_part_that_pins_forbid_names_pin_and_rule_and_what_to_give_up() -> None:
    done = run("why", ROADSTER, "front.pump=pump-5cc", "--with", "front.lobe=fitted")
    assert done.exit_code == 1
    head, *_ = done.stdout.splitlines()
    assert head == "NO  Club roadster: front.pump pump-5cc does not fit: the lobe is made for another pump's lever"
    assert "- you asked for front.lobe = fitted\n" in done.stdout
    assert "[lobe-is-made-for-the-lever (front)]" in done.stdout
    assert "To make room for it give up:\n  - front.lobe = fitted\n" in done.stdout
    assert "Never look into or pour fuel" in done.stdout


def test_what_changes_with_a_part_is_enough_and_no_conflict_is_left() -> None:
    report = json.loads(run("why", ROADSTER, "front.pump=pump-5cc", "--json").stdout)
    (option,) = report["slots"][0]["options"]
    assert option["state"] == "with_changes" and option["with_changes"]
    case = Case.of(load_vehicle(ROADSTER), load_catalog(ROOT / "catalog")).with_linkage_set()
    wanted = ["front.pump=pump-5cc", *(f"{one['slot']}={one['word']}" for one in option["with_changes"])]

    def conflicts(words: list[str]) -> int:
        choice = choose(case.options, read_wishes(case.options, [], words, []))
        return sum(f.severity == "conflict" and f.holds is False for f in findings(case, choice))

    assert conflicts(wanted) == 0
    for left_out in wanted[1:]:
        assert conflicts([word for word in wanted if word != left_out]) > 0, f"{left_out} was not needed"


def test_a_slot_alone_lists_its_parts_and_says_no_where_none_can_be_fitted() -> None:
    done = run("why", ROADSTER, "front.feed_screw")
    assert done.exit_code == 0 and "3 of 3 will do" in done.stdout and "screw-freeflow" in done.stdout
    none = run("why", TRUCK, "front.pump", "--with", "front.lobe=fitted")
    assert none.exit_code == 1 and "Nothing cures it as pinned." in none.stdout


def test_a_wish_to_avoid_is_named_as_the_reason(tmp_path: Path) -> None:
    """Of an engine whose first fuel comes soon, so that a drill gives enough."""
    slot, car = "front.nozzle", tmp_path / "soon.toml"
    car.write_text("late_first_fuel = 0.8\n" + Path(ROADSTER).read_text(encoding="utf-8"), encoding="utf-8")
    (listed,) = json.loads(run("why", str(car), slot, "--json").stdout)["slots"]
    words = [o["word"] for o in listed["options"] if o["state"] in ("fits", "with_changes")]
    word = next(word for word in words if word.startswith("redrill:"))
    report = json.loads(run("why", str(car), f"{slot}={word}", "--avoid", "redrill", "--json").stdout)
    clash = report["slots"][0]["options"][0]["clash"]
    assert clash["pins"] == ["avoid redrill (front.nozzle)"] and clash["rules"] == []
    assert clash["give_up"] == [["avoid redrill (front.nozzle)"]]


def test_a_symptom_moves_the_engine_that_parts_are_judged_in() -> None:
    """A stumble says that the first fuel is late, smoke that little is wanting."""
    plain, lean, rich = (json.loads(run("why", ROADSTER, "front.pump", *felt, "--json").stdout)["engine"]
                         for felt in ([], ["--symptom", "stumble"], ["--symptom", "smoke"]))  # fmt: skip
    assert plain == {"late_first_fuel": 1.0, "late_main_circuit": 1.0}
    assert lean["late_first_fuel"] > 1.0 > rich["late_main_circuit"]


def test_two_combinations_stand_side_by_side_with_their_own_figures() -> None:
    report = json.loads(run("compare", TRUCK, "fitted", "proposal", "--json").stdout)
    assert report["first"]["ok"] is False and report["second"]["ok"] is True
    rows = {row["what"]: (row["first"], row["second"]) for row in report["figures"]}
    late = tuple(report[one]["shots"][0]["delay_ms"] for one in ("first", "second"))
    assert rows["front: pull late by"] == late and late[0] > late[1]
    margins = {row["what"]: (row["first"], row["second"]) for row in report["margins"]}
    at_once = margins["front: pull-comes-at-once"]
    assert at_once[0] < 0 <= at_once[1]
    changed = {row["what"] for row in report["parts"]}
    assert changed == {change["slot"] for change in report["second"]["changes"]}
    assert {row["what"]: row["second"] for row in report["work"]}["price"] == report["second"]["totals"]["price"]


def test_a_comparison_of_a_combination_with_itself_shows_no_difference() -> None:
    report = json.loads(run("compare", ROADSTER, "front.nozzle=0.75mm", "front.nozzle=straight-0.75", "--json").stdout)
    assert report["parts"] == []
    assert all(row["first"] == row["second"] for row in report["figures"] + report["margins"] + report["work"])


def test_the_picture_of_a_comparison_is_drawn(tmp_path: Path) -> None:
    picture = tmp_path / "both.svg"
    done = run("compare", ROADSTER, "fitted", "front.nozzle=0.75mm", "--plot", str(picture))
    assert done.exit_code in (0, 1) and f"Picture: {picture}" in done.stdout
    assert picture.read_text(encoding="utf-8").startswith("<?xml")


def test_nothing_delivered_is_no_cure() -> None:
    done = run("compare", ROADSTER, "fitted", "front.pump=pump-5cc")
    assert "nothing comes" in done.stdout and "front: pull late by" in done.stdout


@pytest.mark.parametrize(
    "words, message",
    [
        (["why", ROADSTER, "front.nozle"],
         "front.nozle: is no slot; expected a slot, or SLOT=WHAT such as front.nozzle=0.85mm; "
         "did you mean front.nozzle?"),
        (["compare", ROADSTER, "fited", "proposal"],
         "fited: is no combination; expected fitted, proposal, proposal:2, or SLOT=WHAT,SLOT=WHAT; "
         "did you mean fitted?"),
        (["compare", ROADSTER, "fitted", "proposal:x"],
         "proposal:x: 'x' is no number; expected for example proposal:2"),
        (["compare", ROADSTER, "fitted", "proposal:99"],
         "proposal 99: there is no such proposal; expected 1 to 3"),
    ],
    ids=["slot", "combination", "number", "too many"],
)  # fmt: skip
def test_what_is_not_understood_is_said_plainly(words: list[str], message: str) -> None:
    done = run(*words)
    assert isinstance(done.exception, TipinError) and str(done.exception) == message
