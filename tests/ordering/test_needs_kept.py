"""Kept work: a file that is whole or not there, taken from as long as it holds, refused where it is something else."""

import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import building
import numpy as np
import pytest
from typer.testing import CliRunner

from configurator.catalogue.load import Catalog, shipped_catalog_dir
from configurator.cli import app
from configurator.errors import BadInput
from configurator.ordering import needs_kept
from configurator.ordering.needs_kept import kept_in
from configurator.ordering.needs_pieces import Arrays, Piece, Workers, here, regions_piece

STOCK = building.catalog()
CARS = [building.vehicle(name=f"car {n}", engine={"idle_rpm": 640 + 10 * n}) for n in range(3)]
PIECES = [regions_piece(car, redrill=False) for car in CARS]


def nobody(pieces: Sequence[Piece], catalog: Catalog) -> Iterator[tuple[Piece, Arrays]]:
    raise AssertionError(f"{len(pieces)} pieces were to be worked out again")


def work(path: Path, pieces: Sequence[Piece] = PIECES, catalog: Catalog = STOCK, workers: Workers = here) -> list[str]:
    """Work pieces out with a file; returns what was said."""
    said: list[str] = []
    found = {piece.key: arrays for piece, arrays in kept_in(path, workers, said.append)(pieces, catalog)}
    for piece, arrays in here(pieces, catalog):
        assert {name: array.tobytes() for name, array in found[piece.key].items()} == {
            name: array.tobytes() for name, array in arrays.items()
        }
    return said


def test_what_was_done_is_taken_and_the_rest_is_worked_out(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    assert work(path, PIECES[:2]) == [f"0 of 2 pieces of work taken from {path}"]
    assert work(path, PIECES[:2], workers=nobody) == [f"2 of 2 pieces of work taken from {path}"]
    assert work(path) == [f"2 of 3 pieces of work taken from {path}"]
    assert work(path, PIECES[:1], workers=nobody) == [f"1 of 1 pieces of work taken from {path}"]
    assert work(path, workers=nobody) == [f"3 of 3 pieces of work taken from {path}"], "nothing was dropped"


def test_a_figure_of_the_vehicle_or_of_the_wish_makes_another_piece_and_its_name_does_not(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    work(path, PIECES[:1])
    renamed = regions_piece(CARS[0].model_copy(update={"name": "other", "note": "its story"}), redrill=False)
    assert work(path, [renamed], workers=nobody)[0].startswith("1 of 1")
    assert work(path, [regions_piece(CARS[0], redrill=True)])[0].startswith("0 of 1")
    assert work(path, [regions_piece(building.vehicle(engine={"idle_rpm": 641}), redrill=False)])[0].startswith(
        "0 of 1"
    )


def test_another_catalogue_or_program_begins_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "kept"
    work(path)
    dearer = replace(STOCK, nozzles={**STOCK.nozzles, "straight-0.70": building.nozzle(0.70, price=10.5)})
    assert work(path, catalog=dearer)[0].endswith("another catalogue, and is begun anew")
    assert work(path, catalog=dearer, workers=nobody)[0].startswith("3 of 3")
    monkeypatch.setattr(needs_kept, "program", lambda: "tipin of tomorrow")
    assert work(path, catalog=dearer)[0].endswith("another program, and is begun anew")


def test_work_cut_short_keeps_what_was_done(tmp_path: Path) -> None:
    path, said = tmp_path / "kept", list[str]()

    def interrupted(pieces: Sequence[Piece], catalog: Catalog) -> Iterator[tuple[Piece, Arrays]]:
        yield from here(pieces[:2], catalog)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(kept_in(path, interrupted, said.append)(PIECES, STOCK))
    assert work(path)[0].startswith("2 of 3")


def test_a_consumer_that_goes_away_keeps_what_was_done(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    one = kept_in(path, here, print)(PIECES, STOCK)
    next(one)
    one.close()  # type: ignore[attr-defined]
    assert work(path)[0].startswith("1 of 3")


@pytest.mark.parametrize("text", [b"", b'name = "Roadster"\n', b"\x00" * 100, b"{}", b"[" * 100_000])
def test_a_file_of_something_else_is_refused_and_left_alone(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "kept"
    path.write_bytes(text)
    with pytest.raises(BadInput, match=r"kept: is no file of kept work; expected a file of kept work; name another"):
        work(path, workers=nobody)
    assert path.read_bytes() == text


def test_another_archive_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    for name, inside in (("about", '{"format": "another"}'), ("a", "b"), ("about", "[1]"), ("about", '"x"')):
        with path.open("wb") as file:
            np.savez(file, **{name: np.array(inside)})  # type: ignore[arg-type]
        with pytest.raises(BadInput, match="is no file of kept work"):
            work(path, workers=nobody)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("note.txt", "a note")
    with pytest.raises(BadInput, match="is no file of kept work"):
        work(path, workers=nobody)


def test_a_damaged_file_is_refused_wherever_the_damage_is(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    work(path)
    whole = path.read_bytes()
    rng = np.random.default_rng(3)
    shorter = [whole[:length] for length in (30, len(whole) // 2, len(whole) - 1)]
    flipped = [_flipped(whole, int(place)) for place in rng.integers(0, len(whole), 60)]
    refused = 0
    for damaged in (*shorter, *flipped):
        path.write_bytes(damaged)
        try:
            work(path)
        except BadInput as error:
            assert "damaged" in str(error) or "is no file of kept work" in str(error)
            refused += 1
            assert path.read_bytes() == damaged
    assert refused >= 55, "all but harmless bits, such as a date within the archive"


def _flipped(content: bytes, place: int) -> bytes:
    return content[:place] + bytes([content[place] ^ 0x10]) + content[place + 1 :]


def test_arrays_of_another_shape_or_kind_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    work(path)
    with np.load(path) as archive:
        members = {name: archive[name] for name in archive.files}
    name = next(name for name in members if name.endswith("front.bits"))
    objects = np.array([{"a": 1}], dtype=object)
    for wrong in (members[name][:1], members[name].astype(np.float32), np.array("text"), objects):
        with path.open("wb") as file:
            np.savez(file, **(members | {name: wrong}))
        with pytest.raises(BadInput, match="is kept work, but damaged"):
            work(path, workers=nobody)


def test_a_place_that_cannot_be_written_is_refused_before_the_work(tmp_path: Path) -> None:
    begun: list[int] = []

    def working(pieces: Sequence[Piece], catalog: Catalog) -> Iterator[tuple[Piece, Arrays]]:
        begun.append(len(pieces))
        return here(pieces, catalog)

    for path in (tmp_path / "nowhere" / "kept", tmp_path):
        with pytest.raises(BadInput, match=str(path)):
            next(kept_in(path, working, print)(PIECES, STOCK))
    assert not begun


def test_the_command_says_how_much_it_took_and_answers_the_same(tmp_path: Path) -> None:
    workshop = tmp_path / "workshop.toml"
    car = f'[[vehicle]]\nfile = "{shipped_catalog_dir() / "examples" / "roadster.toml"}"\nday = 2026-05-11\n'
    workshop.write_text(f'name = "x"\ntoday = 2026-05-04\nsureness = 0.4\n{car}', encoding="utf-8")
    words = ["order", str(workshop), "--json", "--effort", "1", "--book", str(tmp_path / "none.sqlite")]
    words += ["--keep", str(tmp_path / "kept")]
    first, second = (CliRunner().invoke(app, words) for _ in range(2))
    assert first.exit_code == second.exit_code == 0 and first.stdout == second.stdout
    assert first.stderr.startswith("0 of 1 pieces") and second.stderr.startswith("1 of 1 pieces")
