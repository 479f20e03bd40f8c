"""`tipin order` from outside: answers, exit codes, files, and what is said of bad input."""

import csv
import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from configurator.catalogue.load import shipped_catalog_dir
from configurator.cli import app
from configurator.errors import BadInput
from configurator.ordering.meeting import load_meeting
from configurator.ordering.report import OrderReport
from configurator.views.order import order_text

EXAMPLES = shipped_catalog_dir() / "examples"
ONE = """name = "One car"
today = 2026-05-04
sureness = 0.5

[[vehicle]]
file = "{file}"
day = {day}
"""


def written(folder: Path, day: str = "2026-05-09", text: str = ONE) -> Path:
    path = folder / "workshop.toml"
    path.write_text(text.format(file=EXAMPLES / "roadster.toml", day=day), encoding="utf-8")
    return path


def test_an_order_is_told_written_and_drawn(tmp_path: Path) -> None:
    surer = written(tmp_path, text=ONE.replace("0.5", "0.55"))
    words = ["order", str(surer), "--book", str(tmp_path / "none.sqlite"), "--json",
             "--csv", str(tmp_path), "--plot", str(tmp_path / "curve.svg")]  # fmt: skip
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    report = OrderReport.model_validate_json(done.stdout)
    assert report.ok and report.proven and set(json.loads(done.stdout)) == set(OrderReport.model_fields)
    assert report.total == pytest.approx(sum(s.total for s in report.suppliers) + report.work)
    (vehicle,) = report.vehicles
    assert vehicle.before is not None and vehicle.before < 0.55 <= vehicle.after
    for supplier in report.suppliers:
        rows = list(csv.DictReader((tmp_path / f"{supplier.supplier}.csv").open(encoding="utf-8")))
        assert sum(float(row["total"]) for row in rows) == pytest.approx(supplier.goods)
    assert (tmp_path / "curve.svg").read_text(encoding="utf-8").lstrip().startswith("<?xml")
    assert not (tmp_path / "none.sqlite").exists()


def test_what_to_buy_from_whom_comes_first_in_words_of_the_trade(tmp_path: Path) -> None:
    words = ["order", str(written(tmp_path)), "--book", str(tmp_path / "none.sqlite")]
    report = OrderReport.model_validate_json(CliRunner().invoke(app, [*words, "--json"]).stdout)
    told = CliRunner().invoke(app, words).stdout
    first, *rest = told.splitlines()
    assert first == f"YES  One car: order for {report.total:.2f}; every car gets as sure to be right as wanted"
    calls = [line for line in rest if line.startswith("Call ")]
    assert [line.split()[1] for line in calls] == [f"{one.supplier}:" for one in report.suppliers]
    for line, one in zip(calls, report.suppliers, strict=True):
        assert f": {one.total:.2f} (" in line and line.endswith(f"there on {one.delivery_day}")
    assert told.index("Call ") < told.index("sure wanted") < told.index("Box for") < told.index("money would buy")
    assert not re.search(r"mean|proof|proven|scenario", told[: told.index("Box for")])
    assert max(map(len, told.splitlines())) <= 130


def test_labour_that_the_workshop_has_a_price_for_is_in_what_the_order_costs(tmp_path: Path) -> None:
    def report(text: str) -> OrderReport:
        words = ["order", str(written(tmp_path, text=text)), "--book", str(tmp_path / "none.sqlite"), "--json"]
        return OrderReport.model_validate_json(CliRunner().invoke(app, words).stdout)

    free, dear = report(ONE), report(ONE.replace("[[vehicle]]", "labour_per_hour = 60\n\n[[vehicle]]"))
    assert dear.labour_per_hour == 60.0
    assert dear.total == pytest.approx(sum(supplier.total for supplier in dear.suppliers) + dear.work)
    assert dear.work > free.work and dear.total > free.total
    assert "labour at 60.00 an hour" in order_text(dear) and "labour" not in order_text(free)


def test_a_day_before_the_post_comes_is_told_with_ways_out(tmp_path: Path) -> None:
    text = ONE.replace("sureness = 0.5", "sureness = 0.9").replace("{file}", str(EXAMPLES / "tow-truck.toml"))
    done = CliRunner().invoke(app, ["order", str(written(tmp_path, "2026-05-04", text)), "--no-redrill", "--json"])
    report = OrderReport.model_validate_json(done.stdout)
    assert done.exit_code == 1 and not report.ok
    (failing,) = report.failing
    assert failing.best < failing.wanted == 0.9
    assert any("on 2026-05-07" in way.says for way in report.ways_out), "the post takes three working days"
    assert all(line.supplier == "north-shelf" for line in report.lines), "over the counter only"


def test_no_money_buys_nothing_and_more_is_a_way_out(tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["order", str(written(tmp_path)), "--budget", "0", "--json"])
    poor = OrderReport.model_validate_json(done.stdout)
    assert done.exit_code == 1 and not poor.lines and any("spend more" in way.says for way in poor.ways_out)


@pytest.mark.parametrize(
    "old, new, words",
    [
        ("today = 2026-05-04", "today = 2027-05-04", ["2026-05-09", "not before 2027-05-04"]),
        ("sureness = 0.5", "sureness = 1.5", ["sureness", "1.5", "below 1"]),
        ("sureness = 0.5", "surenes = 0.5", ["surenes", "sureness"]),
        ("day = {day}", "", ["[[vehicle]] number 1, day", "is missing"]),
        ('file = "{file}"', 'file = "nobody.toml"', ["nobody.toml", "no such file"]),
        ("day = {day}", 'day = "soon"', ["day", "soon"]),
        ("[[vehicle]]", "[vehicle]", ["vehicle"]),
    ],
)
def test_a_bad_workshop_file_says_what_and_where(tmp_path: Path, old: str, new: str, words: list[str]) -> None:
    path = written(tmp_path, text=ONE.replace(old, new))
    with pytest.raises(BadInput) as error:
        load_meeting(path)
    assert all(word in str(error.value) for word in words), str(error.value)


def test_two_vehicles_of_one_name_and_a_missing_folder_are_refused(tmp_path: Path) -> None:
    twice = ONE + '\n[[vehicle]]\nfile = "{file}"\nday = {day}\n'
    with pytest.raises(BadInput, match="two vehicles are called 'Club roadster'"):
        load_meeting(written(tmp_path, text=twice))
    done = CliRunner().invoke(app, ["order", str(written(tmp_path)), "--csv", str(tmp_path / "nowhere")])
    assert isinstance(done.exception, BadInput) and "is no folder" in str(done.exception)
