"""A car described at a terminal, off three papers as owners have them; and by a script."""

import json
import os
import pty
import select
import signal
import sys
import tomllib
from pathlib import Path

import pytest

PAPERS = {
    "coupe": [
        "Ridge coupe", "350 cu in", "?", "?", "manual", "4.10 x 2.52 first", "235/60R15", "3,200 lb", "4", "600 cfm",
        "ordinary", "1", "31 thou", "standard", "plain", "?", "no", "",
    ],
    "tender": [
        "Fell tender", "5.7 l", "700", "15 inHg", "auto", "1,900", "4", "?", "long", "2",
        "straight-0.80", "standard", "?", "lobe-fell@6", "0.8", "large", "free-flow", "?", "yes", "y",
    ],
    "special": [
        "Beck special", "3 gallons", "2000", "95", "<", "2000", "900", "480 mmHg", "manual",
        "3.9:1 axle x 2,1 second",
        "165R13", "620kg", "2", "280 cfm", "?", "0.70mm", "?", "?", "?", "?", "y",
    ],
}  # fmt: skip
"""What is typed, line by line: with units, short words, a wrong one, a way back, and much that is not known."""
LONGEST_S = 40


def at_a_terminal(arguments: list[str], lines: list[str], directory: Path) -> tuple[str, int]:
    """What a command shows on a terminal of its own where these lines are typed, each once it asks; its exit code."""
    child, terminal = pty.fork()
    if child == 0:
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # which a shell's background jobs ignore
        os.chdir(directory)
        os.execv(sys.executable, [sys.executable, "-c", "from configurator.cli import main; main()", *arguments])
    shown, typed, asked_at = "", list(lines), 0
    while True:
        readable, _, _ = select.select([terminal], [], [], LONGEST_S)
        assert readable, f"waits for more\n{shown}"
        try:
            piece = os.read(terminal, 4096).decode(errors="replace")
        except OSError:
            break
        if not piece:
            break
        shown += piece
        fresh = shown[asked_at:]
        if typed and (fresh.endswith(": ") and "\n" in fresh):
            asked_at = len(shown)
            os.write(terminal, (typed.pop(0) + "\n").encode())
    _, status = os.waitpid(child, 0)
    assert not typed, f"not asked for: {typed}\n{shown}"
    return shown.replace("\r\n", "\n"), os.waitstatus_to_exitcode(status)


@pytest.mark.parametrize("name", PAPERS)
def test_a_paper_becomes_a_car_with_an_answer(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    shown, code = at_a_terminal(["new", f"{name}.toml"], PAPERS[name], tmp_path)
    assert code == 0 and f"{name}.toml is written." in shown and "Traceback" not in shown
    written = tomllib.loads((tmp_path / f"{name}.toml").read_text())
    assert written["name"] == PAPERS[name][0]
    assert "over what is not known of the car" in shown or "decides whether" in shown
    assert f"tipin next {name}.toml --symptom stumble" in shown


def test_a_wrong_answer_is_asked_for_again_and_one_goes_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    shown, _ = at_a_terminal(["new", "special.toml"], PAPERS["special"], tmp_path)
    assert "'gallons' is no unit of volume" in shown
    written = tomllib.loads((tmp_path / "special.toml").read_text())
    assert written["engine"]["displacement_cc"] == 2000 and written["engine"]["idle_rpm"] == 900
    assert shown.count("At what speed does it idle, warm?") == 3  # asked, gone back to, and in the summary


def test_what_is_read_back_is_in_words_and_asked_again_as_it_was_answered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    first = ["Tender", "5.7 l", "700", "15 inHg", "auto", "1,900", "2", "600 cfm", "", "0.8", "", "", "", ""]
    shown, code = at_a_terminal(
        ["new", "tender.toml"], [*first, "?", "n", "", "5.9 l", *[""] * (len(first) - 2), "y"], tmp_path
    )
    assert code == 0 and "y: the file is written" in shown and "n: the questions come again" in shown
    summary = shown.partition("(5,700 cc, 347.8 cu in)")[2]
    assert "15 inHg (50.8 kPa vacuum)" in summary and "600 cfm (16.99 m3/min)" in summary
    assert "diameter" not in shown.partition("tender.toml is written.")[0] and "kPa =" not in shown
    written = tomllib.loads((tmp_path / "tender.toml").read_text())
    assert written["engine"] == {
        "displacement_cc": "5.9 l", "idle_rpm": 700, "idle_pressure_kpa": "15 inHg vacuum",
    }  # fmt: skip
    assert written["carburettor"]["rated_flow_m3_min"] == "600 cfm"


def test_given_up_half_way_nothing_is_written(tmp_path: Path) -> None:
    shown, code = at_a_terminal(["new", "half.toml"], ["Half", "2 l", "\x03"], tmp_path)
    assert code != 0 and "nothing was written" in shown and "Traceback" not in shown and list(tmp_path.iterdir()) == []


def run(arguments: list[str], directory: Path) -> tuple[str, str, int]:
    import subprocess

    done = subprocess.run(
        [sys.executable, "-c", "from configurator.cli import main; main()", *arguments], cwd=directory,
        capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False, timeout=LONGEST_S,
    )  # fmt: skip
    return done.stdout, done.stderr, done.returncode


def test_by_a_script(tmp_path: Path) -> None:
    answers = {"name": "Coupe", "engine_size": "350 cu in", "gearbox": "manual", "barrels": 4, "idle_speed": None,
               "front_nozzle": "31 thou"}  # fmt: skip
    (tmp_path / "answers.json").write_text(json.dumps(answers))
    out, err, code = run(["new", "car.toml", "--answers", "answers.json", "--set", "weight=3,200 lb"], tmp_path)
    assert (err, code) == ("", 0) and "car.toml is written." in out
    assert tomllib.loads((tmp_path / "car.toml").read_text())["driveline"]["mass_kg"] == "3,200 lb"
    before = (tmp_path / "car.toml").read_text()
    _, err, code = run(["new", "car.toml", "--set", "name=x"], tmp_path)
    assert code == 2 and "is there already" in err and (tmp_path / "car.toml").read_text() == before
    _, err, code = run(
        ["new", "other.toml", "--like", "car.toml", "--set", "name=Other", "--set", "barrels=2"], tmp_path
    )
    assert (err, code) == ("", 0) and tomllib.loads((tmp_path / "other.toml").read_text())["carburettor"][
        "barrels"
    ] == 2


def test_without_a_terminal_nobody_is_asked(tmp_path: Path) -> None:
    _, err, code = run(["new", "car.toml"], tmp_path)
    assert code == 2 and "has nobody to ask" in err and list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["nam=x"], "did you mean name?"), (["engine_size"], "QUESTION=ANSWER"),
        (["name=x", "engine_size=5 hp", "gearbox=manul", "barrels=3"], "barrels: '3' is none of them"),
        (["name=x"], "engine_size: is needed"),
        (["name=x", "engine_size=2 l", "gearbox=automatic", "barrels=2", "front_nozzle=0.7", "weight=900"],
         "weight: is not asked"),
        (["name=x", "engine_size=2 l", "gearbox=manual", "barrels=2", "front_nozzle=0.7", "manifold=dual plane"],
         "manifold: 'dual plane' is none of them"),
    ],
)  # fmt: skip
def test_what_a_script_answers_wrong_is_told_and_nothing_written(words: list[str], says: str, tmp_path: Path) -> None:
    told = [piece for word in words for piece in ("--set", word)]
    _, err, code = run(["new", "car.toml", *told], tmp_path)
    assert code == 2 and says in err and "Traceback" not in err and list(tmp_path.iterdir()) == []


def test_more_is_asked_until_the_answer_stands_still(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What moves the answer most comes first, each is written as it is answered, what is passed over stays."""
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    told = ["name=Coupe", "engine_size=5.7 l", "gearbox=automatic", "barrels=2", "front_nozzle=0.80", "flow=17"]
    run(["new", "car.toml", *(piece for word in told for piece in ("--set", word))], tmp_path)
    lines = ["16 inHg", *["?"] * 8]
    child_shows, code = at_most(["new", "car.toml", "--more"], lines, tmp_path)
    assert code == 0 and "moves it most: measure that" in child_shows
    text = (tmp_path / "car.toml").read_text()
    assert tomllib.loads(text)["engine"]["idle_pressure_kpa"] == "16 inHg vacuum"
    assert "# idle_pressure_kpa is not known" not in text


def at_most(arguments: list[str], lines: list[str], directory: Path) -> tuple[str, int]:
    """As at_a_terminal, where fewer lines may be asked for."""
    import subprocess

    done = subprocess.run(
        [sys.executable, "-c", "from configurator.cli import main; main()", *arguments], cwd=directory,
        capture_output=True, text=True, input="\n".join(lines) + "\n", check=False, timeout=LONGEST_S,
    )  # fmt: skip
    return done.stdout, done.returncode


@pytest.mark.parametrize("answer", ["opening=fast", "engine_size=283", "gears=4.10", "idle_vacuum=55 kPa"])
def test_an_answer_of_a_script_is_checked_as_a_typed_one(answer: str, tmp_path: Path) -> None:
    told = ["name=x", "engine_size=2 l", "gearbox=stick", "barrels=2", "front_nozzle=1/32 in", answer]
    _, err, code = run(["new", "car.toml", *(piece for word in told for piece in ("--set", word))], tmp_path)
    assert code == 2 and err.startswith(f"tipin: {answer.partition('=')[0]}: ") and list(tmp_path.iterdir()) == []


def test_a_wrong_gearbox_is_one_fault(tmp_path: Path) -> None:
    told = ["name=x", "engine_size=2 l", "gearbox=manul", "barrels=2", "front_nozzle=0.7", "tyres=205/60R15"]
    _, err, _ = run(["new", "car.toml", *(piece for word in told for piece in ("--set", word))], tmp_path)
    assert err == "tipin: gearbox: 'manul' is none of them; expected manual, automatic or free\n"
