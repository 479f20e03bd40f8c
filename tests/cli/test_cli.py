"""The command line from outside: exit codes, JSON, help, colours, pictures, and one message for whatever is wrong."""

import contextlib
import io
import json
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass
from pathlib import Path

import pytest

from configurator import cli
from configurator.advice.comparison import CompareReport
from configurator.advice.next_step import NextReport
from configurator.advice.sensitivity import SensitivityReport
from configurator.advice.standing import AvailabilityReport
from configurator.book.fitted_told import FittedReport
from configurator.book.shelf import StockReport
from configurator.card import Card
from configurator.catalogue.listing import PartsReport
from configurator.catalogue.load import shipped_catalog_dir
from configurator.learning.trial_entry import TrialReport
from configurator.ordering.report import OrderReport
from configurator.reports import CheckReport, ProposeReport, Report, SizeReport

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
ROADSTER = str(shipped_catalog_dir() / "examples" / "roadster.toml")
EVENING = str(shipped_catalog_dir() / "examples" / "workshop" / "one-evening.toml")
ESCAPE = "\x1b"
REPORTS: dict[str, tuple[type[Report], list[str]]] = {
    "check": (CheckReport, [ROADSTER]),
    "size": (SizeReport, [ROADSTER]),
    "propose": (ProposeReport, [ROADSTER]),
    "parts": (PartsReport, ["nozzles"]),
    "assumptions": (SensitivityReport, [ROADSTER]),
    "trial add": (TrialReport, [ROADSTER, "--felt", "stumble"]),
    "trial list": (TrialReport, []),
    "fit": (FittedReport, [ROADSTER]),
    "stock list": (StockReport, []),
    "stock history": (StockReport, []),
    "stock add": (StockReport, ["straight-0.65", "2"]),
    "stock count": (StockReport, ["straight-0.65", "2"]),
    "next": (NextReport, [ROADSTER]),
    "order": (OrderReport, [EVENING]),
    "why": (AvailabilityReport, [ROADSTER, "front.pump"]),
    "compare": (CompareReport, [ROADSTER, "fitted", "front.nozzle=0.78mm"]),
    "card": (Card, [ROADSTER, "-o", "card.html"]),
}
WITHOUT_REPORT = {"draw", "new", "serve", "trial export", "units"}
OF_A_STATE = {"trial undo", "trial import", "trial compare", "stock take", "stock import", "catalogue new",
              "catalogue set", "catalogue import", "book check", "book backup", "book restore"}  # fmt: skip
"""Commands with a report that need something to be there first: their own tests look at them."""
EASY: dict[str, float] = {
    "delay_most_ms": 500, "sag_most_percent": 50, "smoke_most_ms": 2000,
    "screw_cut_most_percent": 60, "larger_pump_from_mm": 3,
    "overtravel_clearance_mm": 0, "linkage_tolerance_mm": 1, "pump_pad_clearance_mm": 0, "bonnet_clearance_mm": 0,
}  # fmt: skip
HARD: dict[str, float] = {"delay_most_ms": 5, "sag_most_percent": 1, "smoke_most_ms": 20}


@dataclass(frozen=True)
class Ran:
    """What a run left: exit code, standard output and standard error."""

    code: int
    out: str
    err: str


class Terminal(io.StringIO):
    """A standard output that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def run(*words: str | Path, out: io.StringIO | None = None) -> Ran:
    """Run the command in this process, as its entry point does; anything but an orderly end fails the test."""
    out, err, argv = out or io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["tipin", *map(str, words)]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as end:
            cli.main()
    finally:
        sys.argv = argv
    code = end.value.code
    assert isinstance(code, int) or code is None
    return Ran(code or 0, out.getvalue(), err.getvalue())


def slim_catalog(directory: Path, limits: dict[str, float]) -> Path:
    """A copy of the shipped catalogue with a quarter of the nozzles, all that the examples name among them, and some
    limits overruled, as a workshop would in its own file."""
    shutil.copytree(shipped_catalog_dir(), directory, dirs_exist_ok=True)
    for name in ("offers.csv", "kits.csv"):  # they name nozzles that are left out
        (directory / name).unlink(missing_ok=True)
    named = "".join(path.read_text(encoding="utf-8") for path in EXAMPLES)
    path = directory / "nozzles.csv"
    heading, *rows = path.read_text(encoding="utf-8").splitlines()
    kept = [row for number, row in enumerate(rows) if number % 4 == 0 or f'"{row.split(",")[0]}"' in named]
    path.write_text("\n".join([heading, *kept]) + "\n", encoding="utf-8")
    path = directory / "limits.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    for row, line in enumerate(lines):
        name, _, rest = line.partition(",")
        if name in limits:
            lines[row] = f"{name},{limits[name]},{rest.partition(',')[2]}"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return directory


@pytest.fixture(scope="module")
def slim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return slim_catalog(tmp_path_factory.mktemp("slim"), {})


@pytest.fixture(autouse=True)
def slim_by_default(slim: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """The tests' own catalogue stands in the environment, so that a run takes a quarter of the time; and a book of the
    test's own, so that none reads or writes the one of whoever runs it."""
    monkeypatch.setenv("TIPIN_CATALOG", str(slim))
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path_factory.mktemp("book") / "book.sqlite"))


@pytest.fixture(scope="module")
def easy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return slim_catalog(tmp_path_factory.mktemp("easy"), EASY)


@pytest.fixture(scope="module")
def hard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return slim_catalog(tmp_path_factory.mktemp("hard"), HARD)


def names() -> list[str]:
    """Every command, those of a group behind its name."""
    found = [str(command.name) for command in cli.app.registered_commands]
    for group in cli.app.registered_groups:
        assert group.typer_instance is not None
        found += [f"{group.name} {command.name}" for command in group.typer_instance.registered_commands]
    return found


def test_every_command_has_its_report_here() -> None:
    assert set(names()) == set(REPORTS) | WITHOUT_REPORT | OF_A_STATE


@pytest.mark.parametrize("name", REPORTS)
def test_json_is_the_documented_report_and_nothing_else(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    model, words = REPORTS[name]
    ran = run(*name.split(), *words, "--json")
    assert ran.code in (0, 1) and ran.err == ""
    report = model.model_validate_json(ran.out, strict=True)
    assert json.loads(report.model_dump_json(by_alias=True)) == json.loads(ran.out)


WANTED: dict[str, dict[str, set[str]]] = {
    "check": {
        "ok": set(),
        "findings": {"rule", "kind", "severity", "circuit", "margin", "unit", "says", "mend", "basis", "source"},
    },
    "size": {"circuits": {"circuit", "smallest", "candidates"}},
    "propose": {
        "status": set(), "totals": set(), "conflict": set(), "alternatives": set(),
        "changes": {"slot", "from", "to", "price", "labour_min", "because"},
    },
}  # fmt: skip
CANDIDATE = {"code", "diameter_mm", "pump", "lobe", "phase_deg", "delay_ms", "lean_sag_percent", "rich_sag_percent",
             "smoke_ms", "volume_cc", "duration_ms", "sureness", "meets"}  # fmt: skip


@pytest.mark.parametrize("name", WANTED)
def test_json_has_at_least_these_keys(name: str) -> None:
    truck = next(path for path in EXAMPLES if path.stem == "tow-truck")
    wish = ["--with", "front.nozzle=1.0mm"] if name == "propose" else []
    answer = json.loads(run(name, truck, "--json", *wish).out)
    assert set(WANTED[name]) <= set(answer)
    for key, inner in WANTED[name].items():
        for entry in answer[key] if inner else ():
            assert inner <= set(entry)
    for circuit in answer.get("circuits", ()):
        assert circuit["candidates"] and all(set(row) >= CANDIDATE for row in circuit["candidates"])
        assert circuit["smallest"] is None or {"code", "diameter_mm"} <= set(circuit["smallest"])
    if name == "propose" and answer["conflict"] is None:
        assert set(answer["totals"]) >= {"price", "labour_min"}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_check_ends_with_1_exactly_where_there_is_a_conflict(path: Path, easy: Path) -> None:
    for words in ([], ["--catalog", str(easy)]):
        ran, text = run("check", path, "--json", *words), run("check", path, *words)
        answer = json.loads(ran.out)
        conflict = any(f["severity"] == "conflict" for f in answer["findings"])
        assert ran.code == text.code == int(conflict) == int(not answer["ok"])
        assert text.out.startswith("OK" if answer["ok"] else "NO")


def test_each_command_says_yes_with_0_and_no_with_1(easy: Path, hard: Path) -> None:
    for name in ("check", "size", "propose"):
        assert run(name, ROADSTER, "--catalog", easy).code == 0, name
        assert run(name, ROADSTER, "--catalog", hard).code == 1, name
    assert run("propose", ROADSTER, "--keep", "front.nozzle", "--with", "front.nozzle=1.0mm").code == 1
    assert run("parts", "nozzles", "--where", "diameter_mm>=0.9mm").code == 0
    assert run("parts", "nozzles", "--where", "diameter_mm>=2.9mm").code == 1


BAD: dict[str, list[str]] = {
    "missing file": ["check", "no-such-car.toml"],
    "directory": ["check", "."],
    "missing catalogue": ["check", ROADSTER, "--catalog", "no-such-folder"],
    "unknown slot": ["check", ROADSTER, "--with", "front.nozle=0.85mm"],
    "unknown part": ["check", ROADSTER, "--with", "front.pump=pump-9cc"],
    "size there is not": ["check", ROADSTER, "--with", "front.nozzle=2.9mm"],
    "no equals sign": ["check", ROADSTER, "--with", "front.nozzle"],
    "clashing changes": ["check", ROADSTER, "--with", "front.pump=pump-5cc", "--with", "front.pump=pump-3cc"],
    "circuit there is not": ["size", ROADSTER, "--circuit", "rear"],
    "picture of another kind": ["size", ROADSTER, "--plot", "shot.gif"],
    "picture in no folder": ["size", ROADSTER, "--plot", "no-such-folder/shot.svg"],
    "unknown symptom": ["propose", ROADSTER, "--symptom", "stumbel"],
    "unknown goal": ["propose", ROADSTER, "--order", "chaeper"],
    "unknown slot to keep": ["propose", ROADSTER, "--keep", "front.pmp"],
    "unknown thing to avoid": ["propose", ROADSTER, "--avoid", "redril"],
    "unknown family": ["parts", "nozles"],
    "unknown column": ["parts", "nozzles", "--where", "diametre_mm=0.8mm"],
    "no test": ["parts", "nozzles", "--where", "0.8mm"],
    "catalogue to check is missing": ["parts", "--check", "no-such-folder"],
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input_ends_in_one_message_and_2(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    ran = run(*BAD[name])
    assert ran.code == 2 and ran.out == ""
    assert ran.err.startswith("tipin: ") and ran.err.count("\n") == 1 and "Traceback" not in ran.err
    assert re.search(r"expected|did you mean|does not exist|no such|exclude each other", ran.err), ran.err
    given = BAD[name][-1].partition("=")
    assert any(word and word in ran.err for word in (given[0], given[2])), "the message names what was given"
    assert list(tmp_path.iterdir()) == [], "nothing is written"


@pytest.mark.parametrize("words", [["chek", ROADSTER], ["check"], ["check", ROADSTER, "--jsn"], ["size", ROADSTER,
                         "--circuit", "middle"], ["propose", ROADSTER, "--effort", "0"]])  # fmt: skip
def test_a_word_that_the_command_does_not_know_ends_in_2(words: list[str]) -> None:
    ran = run(*words)
    assert ran.code == 2 and ran.out == "" and "Error: " in ran.err and "Traceback" not in ran.err


@pytest.mark.parametrize("name", [*REPORTS, "draw", "trial export"])
def test_help_has_an_example_and_the_example_runs(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(shipped_catalog_dir(), tmp_path / "catalog")
    monkeypatch.delenv("TIPIN_CATALOG")
    monkeypatch.chdir(tmp_path)
    shown = run(*name.split(), "--help")
    assert shown.code == 0
    example = " ".join(shown.out.partition("Example: ")[2].split())
    assert example.startswith(f"tipin {name} ")
    ran = run(*example.split()[1:])
    assert ran.code in (0, 1) and ran.err == "" and ran.out


@pytest.mark.parametrize("name", ["check", "size", "propose"])
def test_colour_is_for_terminals_only_and_says_nothing_by_itself(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    plain, coloured = run(name, ROADSTER), run(name, ROADSTER, out=Terminal())
    assert ESCAPE not in plain.out
    assert ESCAPE in coloured.out
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured.out) == plain.out
    monkeypatch.setenv("NO_COLOR", "1")
    assert run(name, ROADSTER, out=Terminal()).out == plain.out


def test_a_picture_is_written_whole_as_svg_or_png(tmp_path: Path) -> None:
    svg, png = tmp_path / "shot.svg", tmp_path / "shot.PNG"
    for path in (svg, png):
        ran = run("size", ROADSTER, "--plot", path)
        assert ran.code in (0, 1) and str(path) in ran.out
    assert ElementTree.parse(svg).getroot().tag == "{http://www.w3.org/2000/svg}svg"
    assert png.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shot.PNG", "shot.svg"]
    first = svg.read_bytes()
    run("size", ROADSTER, "--plot", svg)
    assert svg.read_bytes() == first, "the same answer gives the same file"


def test_no_picture_is_left_where_the_vehicle_is_bad(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("[engine]\n", encoding="utf-8")
    assert run("size", bad, "--plot", tmp_path / "shot.svg").code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["bad.toml"]


def test_the_environment_names_a_catalogue_and_an_option_overrules_it(
    tmp_path: Path, easy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TIPIN_CATALOG", str(easy))
    assert run("check", ROADSTER).code == 0
    (limit,) = json.loads(run("parts", "limits", "--where", "name=delay_most_ms", "--json").out)["rows"]
    assert limit["value"] == "500"
    monkeypatch.setenv("TIPIN_CATALOG", str(tmp_path / "gone"))
    assert run("check", ROADSTER).code == 2
    assert run("check", ROADSTER, "--catalog", easy).code == 0


@pytest.mark.parametrize("words", [["--help"], ["check", ROADSTER], ["size", ROADSTER], ["parts", "lobes"],
                                   ["why", ROADSTER, "front.pump"]])  # fmt: skip
def test_commands_that_do_not_choose_load_no_solver(words: list[str]) -> None:
    program = (
        "import sys\nfrom configurator.cli import main\n"
        f"sys.argv = {['tipin', *words]!r}\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print(sorted(m for m in ('ortools', 'matplotlib') if m in sys.modules), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True)
    assert done.stderr.strip() == "[]"


def test_the_module_runs_as_the_command_does() -> None:
    words = ["check", ROADSTER, "--json"]
    done = subprocess.run([sys.executable, "-m", "configurator", *words], cwd=ROOT, capture_output=True, text=True)
    here = run(*words)
    assert (done.returncode, done.stdout, done.stderr) == (here.code, here.out, here.err)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_figures_in_a_finding_carry_their_unit(path: Path) -> None:
    report = CheckReport.model_validate_json(run("check", path, "--json").out)
    text = " ".join(run("check", path).out.split())
    for found in report.findings:
        assert found.margin is None or found.severity == "note" or " ".join(found.says.split()) in text
        for figure in re.finditer(r"(?<![\w.-])-?\d+(?:\.\d+)?(?![\w.-])", found.says):
            assert re.match(r" ?(%|[a-z])", found.says[figure.end() :]), (figure[0], found.says)
