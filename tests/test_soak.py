"""A short soak: nothing is kept of checks and proposals that are over, and orders broken off leave the book alone.

The long one is a script, tests/benchmarks/soak.py.
"""

import gc
import shutil
import sys
import weakref
from collections.abc import Callable
from mmap import mmap
from pathlib import Path

import pytest
import soak
from runs import run

from configurator.book.book import open_book
from configurator.catalogue.load import shipped_catalog_dir

EVENING = shipped_catalog_dir() / "examples" / "workshop" / "one-evening.toml"


def test_memory_that_grows_is_told_from_memory_that_is_used() -> None:
    kept: list[object] = []

    def used() -> object:
        """Memory from the system itself: what a process has once had and freed would be taken first."""
        area = mmap(-1, 2**20)
        area.write(b"x" * 2**20)
        return area

    leaks = soak.remembered(lambda _: kept.append(used()), 50)
    assert leaks.growth_mb == pytest.approx(50, rel=0.3)
    kept.clear()
    assert soak.remembered(lambda _: used(), 50).growth_mb < 4
    assert soak.report("leaks", leaks) is False


@pytest.mark.parametrize("name", ["check", "propose"])
def test_nothing_is_kept_of_what_is_over(name: str) -> None:
    """Every vehicle is gone once the next is there, and with it all that was worked out for it."""
    customers = soak.Customers(seed=1)
    work: Callable[[int], None] = getattr(customers, name)
    served: list[weakref.ref[object]] = []
    for number in range(4):
        work(number * soak.CHOICES_EACH)
        served.append(weakref.ref(customers._case))
    customers._case = customers._next_case()
    gc.collect()
    assert [ref() for ref in served] == [None] * len(served)


def test_checks_leave_no_objects_behind() -> None:
    """Counted, since a thousand small ones would not show in the memory of so short a run."""
    customers = soak.Customers(seed=2)
    counts = []
    for round_ in range(4):
        for number in range(10):
            customers.check(round_ * 10 + number)
        customers._case = customers._next_case()
        gc.collect()
        counts.append(len(gc.get_objects()))
    assert counts[-1] - counts[1] < 10, counts


@pytest.mark.usefixtures("heeds_ctrl_c")
def test_an_order_that_is_broken_off_leaves_the_book_as_it_was(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite"
    with open_book(book) as opened:
        opened.add_trial(run())
        opened.add_stock({"straight-0.75": 2, "lobe-fell": 1}, "bought")
    cars = shutil.copytree(EVENING.parents[1], tmp_path / "examples")
    command = soak.order_command(cars / "workshop" / EVENING.name, book)
    rows = soak.broken_off(command, book, times=2, seed=5, within_s=2.0)
    assert [how for how, *_ in rows] == ["SIGINT", "SIGKILL"]
    assert all(untouched for *_, untouched in rows)
    assert any(code == -9 for _, _, code, *_ in rows), "it was killed on the way"


def test_a_book_that_changed_is_noticed(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite"
    with open_book(book) as opened:
        opened.move_stock("lobe-fell", 1, "bought")
    writes = "import sys; from configurator.book.book import open_book as o; o(sys.argv[1]).move_stock('a', 1, '')"
    rows = soak.broken_off([sys.executable, "-c", writes, str(book)], book, times=2, seed=1, within_s=60.0)
    assert not any(untouched for *_, untouched in rows)
    book.write_bytes(book.read_bytes()[:5000])
    with pytest.raises(Exception, match=r"malformed|damaged"):
        soak.book_state(book)
