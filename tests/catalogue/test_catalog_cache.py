"""A catalogue found again equals the one that was checked, is never stale, and no file of the cache can do harm."""

import csv
import io
import multiprocessing
import os
import shutil
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from hashlib import blake2b
from pathlib import Path
from typing import Any

import pytest
from made_catalog import write_catalog

from configurator.catalogue import cache as catalog_cache
from configurator.catalogue import load as catalog
from configurator.catalogue.load import FAMILIES, Catalog, load_catalog, shipped_catalog_dir
from configurator.errors import BadInput

BY_CODE = [family if family != "limits" else "limit_rows" for family in FAMILIES]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_catalog(tmp_path_factory.mktemp("made"), 400, seed=5)


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of an empty cache that keeps small catalogues too."""
    monkeypatch.setattr(catalog_cache, "LEAST_WORTH_KEEPING_BYTES", 1)
    monkeypatch.setenv("TIPIN_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def checks(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Path]]:
    """The directories that were checked, and not found again."""
    checked: list[Path] = []
    check = catalog._checked

    def noted(directory: Path, contents: Mapping[str, bytes | None], faults: list[Any]) -> catalog_cache.Families:
        checked.append(directory)
        return check(directory, contents, faults)

    monkeypatch.setattr(catalog, "_checked", noted)
    yield checked


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "catalogue")
    return tmp_path / "catalogue"


def kept(cache: Path) -> list[Path]:
    return sorted(cache.glob("*"))


def without_cache(directory: Path, monkeypatch: pytest.MonkeyPatch) -> Catalog:
    with monkeypatch.context() as patched:
        patched.setenv("TIPIN_CACHE", "off")
        return load_catalog(directory)


@pytest.mark.parametrize("which", ["shipped", "made"])
def test_found_again_it_equals_what_was_checked(
    which: str, made: Path, cache: Path, checks: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    directory = shipped_catalog_dir() if which == "shipped" else made
    fresh = without_cache(directory, monkeypatch)
    assert not kept(cache)
    first, again = load_catalog(directory), load_catalog(directory)
    assert len(checks) == 2 and len(kept(cache)) == 1
    assert fresh == first and fresh == again and again == fresh
    for family in BY_CODE:
        records, found = getattr(fresh, family), getattr(again, family)
        assert list(records) == list(found) and len(records) == len(found)
        for code, record in records.items():
            assert type(found[code]) is type(record) and repr(found[code]) == repr(record)
            assert found[code].model_fields_set == record.model_fields_set
            assert found[code].model_dump_json() == record.model_dump_json()
            assert hash(found[code]) == hash(record)
    assert again.directory == directory


def test_a_record_is_made_once_and_all_come_in_the_order_of_the_file(made: Path) -> None:
    fresh = load_catalog(made)
    again = load_catalog(made)
    last = list(fresh.lobes)[-1]
    one = again.lobes[last]
    assert one == fresh.lobes[last] and list(again.lobes.values()) == list(fresh.lobes.values())
    assert again.lobes[last] is one and list(again.lobes.values())[-1] is one
    assert [code for code, _ in again.lobes.items()] == list(fresh.lobes)


def test_a_record_found_again_is_as_frozen_and_as_able_as_any(made: Path) -> None:
    load_catalog(made)
    pump = load_catalog(made).pumps["pump-5cc"]
    with pytest.raises(ValueError, match="frozen"):
        setattr(pump, "price", 1.0)  # noqa: B010
    assert round(pump.capacity_m3 * 1e6, 9) == 5 and pump.comes_with == ("screw-freeflow", "lobe-force")
    assert pump.model_copy(update={"price": 1.0}).price == 1.0 != pump.price


def test_a_code_that_is_not_there(made: Path) -> None:
    load_catalog(made)
    again = load_catalog(made)
    assert "nowhere" not in again.pumps and again.pumps.get("nowhere") is None
    assert (again.family_of("nowhere"), again.family_of("lobe-beck")) == ("", "lobes")
    with pytest.raises(KeyError):
        again.pumps["nowhere"]


def test_a_catalogue_found_again_may_stand_elsewhere(folder: Path, tmp_path: Path, checks: list[Path]) -> None:
    first = load_catalog(folder)
    moved = Path(shutil.move(folder, tmp_path / "moved"))
    assert load_catalog(moved) == replace(first, directory=moved) and checks == [folder]


@pytest.mark.parametrize("family", FAMILIES)
def test_a_byte_changed_in_any_file_is_seen(
    family: str, folder: Path, checks: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    load_catalog(folder)
    path = folder / f"{family}.csv"
    state, text = path.stat(), path.read_text(encoding="utf-8")
    row = text.splitlines()[-1]
    (cells,) = csv.reader([row])
    other = "no" if cells[-1] == "yes" else "yes"
    cells[-1] = {"nozzles": other, "feed_screws": "yes", "lobes": "1", "suppliers": "7", "operations": "3",
                 "limits": "Other words.", "pumps": "screw-plain", "kits": "lobe-fell", "spacers": "39.9",
                 "consumables": "7", "offers": "7.77", "drill_bits": "0.71", "settings": "SEK"}[family]  # fmt: skip
    changed_row = io.StringIO()
    csv.writer(changed_row, lineterminator="").writerow(cells)
    path.write_text(text.replace(row, changed_row.getvalue()), encoding="utf-8")
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    changed = load_catalog(folder)
    assert len(checks) == 2 and changed == without_cache(folder, monkeypatch)


def test_a_change_that_is_a_fault_is_told_and_not_kept(folder: Path, cache: Path) -> None:
    load_catalog(folder)
    before = kept(cache)
    path = folder / "spacers.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("6.8", "5.8"), encoding="utf-8")
    for _ in range(2):
        with pytest.raises(BadInput, match=r"bonnet_mm 5\.8 is less than thickness_mm 6"):
            load_catalog(folder)
    assert kept(cache) == before


def test_a_file_that_is_absent_is_not_an_empty_one(folder: Path, checks: list[Path]) -> None:
    path = folder / "kits.csv"
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    assert not load_catalog(folder).kits
    path.unlink()
    assert not load_catalog(folder).kits and len(checks) == 2
    path.touch()
    with pytest.raises(BadInput, match="is empty"):
        load_catalog(folder)


def test_a_change_of_the_program_or_of_its_libraries_is_seen(
    made: Path, checks: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    load_catalog(made)
    source = catalog_cache._own_source()
    monkeypatch.setattr(catalog_cache, "_own_source", lambda: source.replace(b"MOST_LENGTH", b"LAST_LENGTH"))
    load_catalog(made)
    monkeypatch.setattr("pydantic.VERSION", "3.0")
    load_catalog(made)
    load_catalog(made)
    assert len(checks) == 3


def test_the_source_that_counts_holds_every_module_that_checks() -> None:
    source = catalog_cache._own_source()
    for model in FAMILIES.values():
        module = sys.modules[model.__module__].__file__
        assert module and Path(module).read_bytes() in source
    for module in (catalog.__file__, sys.modules["configurator.units.units"].__file__, catalog_cache.__file__):
        assert module and Path(module).read_bytes() in source


RUINS: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda content: b"",
    "cut short": lambda content: content[: len(content) // 2],
    "a figure changed": lambda content: content.replace(b"13.5", b"93.5", 1),
    "a price below nothing, sealed by somebody else": lambda content: (
        lambda text: blake2b(text, digest_size=32).hexdigest().encode() + b"\n" + text
    )(content.partition(b"\n")[2].replace(b"13.5", b"-3.5", 1)),
    "no checksum": lambda content: content.partition(b"\n")[2],
    "binary": lambda content: bytes(range(256)) * 10,
    "other JSON, well sealed": lambda content: sealed(b'{"nozzles": [1, 2]}'),
    "a column too short, well sealed": lambda content: sealed(
        content.partition(b"\n")[2].replace(b'"codes":["straight-0.60",', b'"codes":[', 1)
    ),
}


def sealed(text: bytes) -> bytes:
    return catalog_cache._checksum(text, catalog_cache._secret()) + b"\n" + text


@pytest.mark.parametrize("ruin", RUINS)
def test_a_damaged_file_is_passed_over_and_written_again(
    ruin: str, made: Path, cache: Path, checks: list[Path]
) -> None:
    first = load_catalog(made)
    (path,) = kept(cache)
    content = path.read_bytes()
    path.write_bytes(RUINS[ruin](content))
    assert path.read_bytes() != content
    assert load_catalog(made) == first and len(checks) == 2
    assert kept(cache) == [path] and path.read_bytes() == content
    assert load_catalog(made) == first and len(checks) == 2


def test_the_cache_may_be_deleted_at_any_time(made: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    load_catalog(made)
    again = load_catalog(made)
    shutil.rmtree(cache)
    assert again == without_cache(made, monkeypatch), "what was found needs no file any more"
    assert load_catalog(made) == again and len(kept(cache)) == 1


def test_switched_off_it_neither_writes_nor_reads(
    made: Path, cache: Path, checks: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    load_catalog(made)
    for word in ("off", "OFF"):
        monkeypatch.setenv("TIPIN_CACHE", word)
        load_catalog(made)
    assert len(checks) == 3 and len(kept(cache)) == 1 and kept(tmp_path) == [cache]


def test_without_a_word_it_stands_where_the_platform_keeps_caches(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TIPIN_CACHE")
    monkeypatch.setattr("platformdirs.user_cache_path", lambda name, appauthor: tmp_path / "platform" / name)
    load_catalog(made)
    assert len(kept(tmp_path / "platform" / "tipin")) == 1


def test_a_small_catalogue_is_not_kept(made: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    size = sum(file.stat().st_size for file in made.iterdir())
    monkeypatch.setattr(catalog_cache, "LEAST_WORTH_KEEPING_BYTES", size + 1)
    load_catalog(made)
    assert not kept(cache)
    monkeypatch.setattr(catalog_cache, "LEAST_WORTH_KEEPING_BYTES", size)
    load_catalog(made)
    assert len(kept(cache)) == 1


@pytest.mark.parametrize("where", ["a file stands there", "a name that is none"])
def test_a_place_that_cannot_be_written_does_no_harm(
    where: str, made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = tmp_path / "taken"
    taken.write_text("a shopping list")
    monkeypatch.setenv("TIPIN_CACHE", str(taken if where == "a file stands there" else tmp_path / ("x" * 5000)))
    assert load_catalog(made) == load_catalog(made)
    assert taken.read_text() == "a shopping list"


def test_a_full_disk_leaves_nothing_behind(made: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", full)
        load_catalog(made)
    assert not kept(cache)


def test_only_those_used_last_are_kept(
    folder: Path, cache: Path, checks: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(catalog_cache, "MOST_KEPT", 3)
    offers = folder / "offers.csv"
    text = offers.read_text(encoding="utf-8")
    load_catalog(folder)
    (first,) = kept(cache)
    stranger = cache / "notes.txt"
    stranger.write_text("mine")
    for number in range(5):
        offers.write_text(text + f"offer-more-{number},lobe-fell,north-shelf,1,1,5.0\n", encoding="utf-8")
        load_catalog(folder)
        for age, path in enumerate(sorted(cache.glob("catalog-*"), key=lambda path: path.stat().st_mtime_ns)):
            os.utime(path, (1e9 + age, 1e9 + age))
        offers.write_text(text, encoding="utf-8")
        load_catalog(folder)
    assert first in kept(cache) and len(checks) == 6, "the one in use stays"
    assert len(list(cache.glob("catalog-*"))) == 3
    assert stranger.read_text() == "mine"


def test_what_a_stopped_writer_left_is_swept_and_what_is_being_written_is_not(made: Path, cache: Path) -> None:
    cache.mkdir()
    left, at_work = cache / ".catalog-left.json.1.1", cache / ".catalog-at-work.json.2.2"
    for path, age_s in ((left, 2 * catalog_cache.LEFT_BEHIND_S), (at_work, 1.0)):
        path.write_text("{")
        os.utime(path, (time.time() - age_s,) * 2)
    load_catalog(made)
    assert not left.exists() and at_work.exists()


def _start(folder: str, rounds: int, found: Any) -> None:
    """A process that loads again and again while others write and delete."""
    catalog_cache.LEAST_WORTH_KEEPING_BYTES = 1
    for _ in range(rounds):
        loaded = load_catalog(folder)
        found.put(repr(list(loaded.nozzles.values())[-3:] + list(loaded.kits.values())[-3:]))


def test_several_processes_write_read_and_delete_at_once(made: Path, cache: Path) -> None:
    spawn = multiprocessing.get_context("spawn")
    found = spawn.Queue()
    starts = [spawn.Process(target=_start, args=(str(made), 10, found)) for _ in range(3)]
    for process in starts:
        process.start()
    answers: list[str] = []
    while len(answers) < 30:
        answers.append(found.get(timeout=60))
        for path in cache.glob("catalog-*"):
            path.unlink(missing_ok=True)
    for process in starts:
        process.join()
    assert [process.exitcode for process in starts] == [0, 0, 0]
    fresh = load_catalog(made)
    assert set(answers) == {repr(list(fresh.nozzles.values())[-3:] + list(fresh.kits.values())[-3:])}
    assert not list(cache.glob(".catalog-*"))


@pytest.mark.parametrize("whole", [(False, False), (False, True), (True, False), (True, True)])
def test_threads_that_ask_at_once_are_given_the_same_record(
    whole: tuple[bool, bool], made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    load_catalog(made)
    again = load_catalog(made)
    last = list(again.nozzles)[-1]
    make, given, ready = catalog_cache._KeptRecords._record, [], threading.Barrier(2)
    delays_s = iter([0.02, 0.06])

    def made_slowly(self: catalog_cache._KeptRecords, values: Sequence[Any], place: int) -> Any:
        if place == len(self) - 1:
            time.sleep(next(delays_s))
        return make(self, values, place)

    monkeypatch.setattr(catalog_cache._KeptRecords, "_record", made_slowly)

    def ask(all_of_them: bool) -> None:
        ready.wait()
        given.append(list(again.nozzles.values())[-1] if all_of_them else again.nozzles[last])

    threads = [threading.Thread(target=ask, args=(all_of_them,)) for all_of_them in whole]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(given) == 2 and given[0] is given[1] is again.nozzles[last]


def test_the_collector_runs_again_after_loading_and_after_a_fault(made: Path, folder: Path) -> None:
    import gc

    load_catalog(made)
    assert gc.isenabled()
    (folder / "pumps.csv").unlink()
    with pytest.raises(BadInput):
        load_catalog(folder)
    assert gc.isenabled()
