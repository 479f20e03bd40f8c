"""Pictures in files: whole or not at all, and the command that draws them."""

import sys
from pathlib import Path

import pytest
from test_band import chosen, example
from test_pictures import gallery
from typer.testing import CliRunner

from configurator.cli import app
from configurator.errors import BadInput, TipinError
from configurator.judging.lift import lift_of
from configurator.views import pictures
from configurator.views.picture_style import save_picture
from configurator.views.tables import wrapped
from configurator.views.vehicle_pictures import PICTURES


@pytest.mark.parametrize("name", ["picture.svg", "picture.PNG"])
def test_a_file_appears_whole_or_not_at_all(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / name
    save_picture(gallery()["shot"], path, "the shot")
    first = path.read_bytes()
    assert first.startswith(b"<?xml" if name.endswith("svg") else b"\x89PNG")
    monkeypatch.setattr("os.replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(BadInput, match="No space left"):
        save_picture(gallery()["lift"], path)
    assert path.read_bytes() == first and [file.name for file in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize(("name", "says"), [("p.gif", "a name that ends in"), ("none/p.svg", "does not exist")])
def test_a_file_that_cannot_be_is_refused_before_the_work(tmp_path: Path, name: str, says: str) -> None:
    words = ["draw", "no-such-vehicle.toml", "shot", "-o", str(tmp_path / name)]
    done = CliRunner().invoke(app, words)
    assert isinstance(done.exception, BadInput) and says in str(done.exception)


def test_without_matplotlib_it_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    case = example("roadster")
    with pytest.raises(TipinError, match="pip install matplotlib"):
        pictures.check_can_draw(tmp_path / "shot.svg")
    with pytest.raises(TipinError, match="pip install matplotlib"):
        pictures.lift_picture(lift_of(case, "front", case.as_fitted))


@pytest.mark.parametrize("what", PICTURES)
def test_the_command_draws_what_the_library_does(what: str, tmp_path: Path) -> None:
    case, path = example("hill-climber"), tmp_path / "it.svg"
    words = [str(case.vehicle.file), what, "-o", str(path), "--circuit", "rear", "--with", "rear.nozzle=1.00mm"]
    done = CliRunner().invoke(app, ["draw", *words, "--book", str(tmp_path / "none.sqlite")])
    figure, says = PICTURES[what](case.with_linkage_set(), "rear", chosen(case, "rear.nozzle=1.00mm"), None)
    assert (done.exit_code, done.output) == (0, f"{wrapped(says)}\n\nPicture: {path}\n")
    head, _, svg = path.read_text(encoding="utf-8").partition("\n")
    assert head == '<?xml version="1.0" encoding="UTF-8"?>' and svg == pictures.as_svg(figure, says)
    assert [file.name for file in tmp_path.iterdir()] == ["it.svg"], "looking makes no book"


def test_runs_in_the_book_move_the_picture(tmp_path: Path) -> None:
    vehicle, book = str(example("roadster").vehicle.file), ["--book", str(tmp_path / "b.sqlite")]
    out = ["-o", str(tmp_path / "w.svg")]
    before = CliRunner().invoke(app, ["draw", vehicle, "sizes", *out, *book]).output
    assert CliRunner().invoke(app, ["trial", "add", vehicle, "--felt", "stumble", *book]).exit_code == 0
    after = CliRunner().invoke(app, ["draw", vehicle, "sizes", *out, *book]).output
    assert "of engines like this one" in before and "of the engines that 1 run leaves open" in after
