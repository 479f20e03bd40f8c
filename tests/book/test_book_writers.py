"""Many processes that write into one book at once, from an empty place on, in a file and on a server."""

import os
import random
import signal
import time
from pathlib import Path

import pytest
from book_stores import Servers, Store
from child_processes import Confirm, child_of
from cutting_proxy import cutting
from postgres_server import Server, running_server
from runs import run

from configurator.book import database
from configurator.book.book import Book, open_book
from configurator.book.records import Trial
from configurator.errors import BadInput

RUN = run()
WRITERS, EACH = 10, 12
NOT_CERTAIN = "while the change was being confirmed: it is in the book whole, or not at all"


def noted(note: str) -> Trial:
    return RUN.model_copy(update={"note": note})


def sums_up(book: Book) -> None:
    """What is on the shelf is the sum of its movements, and numbers run from 1 up without a gap."""
    moved: dict[str, int] = {}
    for move in book.stock_history():
        moved[move.code] = moved.get(move.code, 0) + move.change
    assert book.stock() == {code: number for code, number in sorted(moved.items()) if number}
    for numbers in ([m.number for m in book.stock_history()], [t.number for t in book.trials(with_undone=True)]):
        assert numbers == list(range(1, len(numbers) + 1))


def test_ten_processes_that_write_at_once(store: Store) -> None:
    """None of their runs and movements is lost or has another's number; what all of them count
    is there once."""
    place = store.new()
    waits, starts = os.pipe()

    def work(confirm: Confirm, name: str) -> None:
        os.close(starts)
        os.read(waits, 1)  # until nobody holds the other end any longer
        with open_book(place) as book:
            book.count_stock("counted", 10, name)
        for turn in range(EACH):
            with open_book(place) as book:
                confirm(f"run {book.add_trial(noted(name)).number}")
                book.move_stock("lobe-mid", 1, name)
                book.move_stock(f"new-{turn}", 1, "the first of its code, for one of ten")

    children = [child_of(lambda confirm, name=str(n): work(confirm, name)) for n in range(WRITERS)]  # type: ignore[misc]
    os.close(waits)
    os.close(starts)
    confirmed: dict[str, list[int]] = {}
    for name, (child, lines) in enumerate(children):
        with lines:
            confirmed[str(name)] = [int(line.split()[1]) for line in lines]
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    everything = WRITERS * EACH
    with open_book(place) as book:
        kept = {name: [t.number for t in book.trials() if t.note == name] for name in confirmed}
        assert kept == confirmed and sum(map(len, kept.values())) == everything
        shelf = book.stock()
        assert shelf.pop("counted") == 10
        assert shelf == {"lobe-mid": everything} | {f"new-{turn}": WRITERS for turn in range(EACH)}
        sums_up(book)
    store.check(place)


def test_the_last_part_goes_to_one_of_ten(store: Store) -> None:
    place = store.new()
    with open_book(place) as book:
        book.move_stock("scarce", 7, "bought")

    def work(confirm: Confirm) -> None:
        for _ in range(3):
            with open_book(place) as book:
                try:
                    book.move_stock("scarce", -1, "taken")
                    confirm("taken")
                except BadInput as error:
                    confirm(str(error))

    said = []
    for child, lines in [child_of(work) for _ in range(WRITERS)]:
        with lines:
            said += lines.read().splitlines()
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert said.count("taken") == 7 and len(said) == 3 * WRITERS
    assert all("cannot be taken: the shelf holds none" in line for line in said if line != "taken")
    with open_book(place) as book:
        assert book.stock() == {}
        sums_up(book)


@pytest.mark.parametrize("answered", [False, True], ids=["before it arrives", "after its answer"])
def test_a_connection_that_breaks_at_any_message(
    answered: bool, postgres: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the first knock at the door on: the movement is there once, or it is said that it may not be."""
    monkeypatch.setattr(database, "FIRST_PAUSE_S", 0.001)
    name = postgres.new_database()
    with open_book(postgres.url(name)) as book:
        book.move_stock("lobe-mid", 1, "bought")
    with cutting(postgres.port) as whole, open_book(url := _by_way_of(postgres, name, whole.port)) as book:
        book.add_stock({"lobe-mid": 1, "lobe-low": 1}, "delivered")
        messages = len(whole.seen)
    there, done_again, uncertain = 1, 0, 0
    for at in range(1, messages + 1):
        with cutting(postgres.port, at, answered) as proxy:
            url = _by_way_of(postgres, name, proxy.port)
            try:
                with open_book(url) as book:
                    book.add_stock({"lobe-mid": 1, "lobe-low": 1}, "delivered")
                there += 1
                done_again += len(proxy.seen) > messages
            except BadInput as error:
                if NOT_CERTAIN in str(error):
                    uncertain += 1
                    there += answered
                    assert b"COMMIT" in proxy.seen[at - 1]
                else:
                    assert "no server answers there" in str(error)
        with open_book(postgres.url(name)) as book:
            assert book.stock() == {"lobe-low": there, "lobe-mid": there + 1}, f"broken at message {at}"
            sums_up(book)
    assert uncertain == 1 and done_again > 8 and messages > 15


def _by_way_of(server: Server, name: str, port: int) -> str:
    return server.url(name).replace(f":{server.port}/", f":{port}/")


def test_a_server_that_restarts_and_writers_that_are_killed(tmp_path: Path) -> None:
    """Five writers while the server is stopped in order, stopped as in a crash, throws them out, and two of them are
    killed: what was confirmed is there once, and more is there only where a writer could not know."""
    chance = random.Random(20260502)
    with running_server() as server:
        place = Servers(server).new()
        with open_book(place) as book:
            book.add_trial(noted("first"))

        def work(confirm: Confirm, name: str) -> None:
            number = 0
            with open_book(place) as book:
                while True:
                    number += 1
                    try:
                        book.add_trial(noted(f"{name}-{number}"))
                        confirm(f"{name}-{number}")
                    except BadInput as error:
                        confirm(f"? {name}-{number} {error}")

        writers = [child_of(lambda confirm, name=str(n): work(confirm, name)) for n in range(5)]  # type: ignore[misc]
        for blow in ("restart", "crash", "throw out", "kill", "restart", "crash"):
            time.sleep(chance.uniform(0.1, 0.4))
            if blow == "throw out":
                server.run(
                    "postgres", "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname LIKE 'book%'"
                )
            elif blow == "kill":
                for child, _ in writers[:2]:
                    os.kill(child, signal.SIGKILL)
            else:
                server.stop(signal.SIGINT if blow == "restart" else signal.SIGQUIT)
                time.sleep(chance.uniform(0.0, 0.3))
                server.start()
        time.sleep(1.5)
        confirmed, asked, last = ["first"], set(), []
        for child, lines in writers:
            os.kill(child, signal.SIGKILL)
            with lines:
                said = lines.read().splitlines()
            os.waitpid(child, 0)
            confirmed += [line for line in said if not line.startswith("?")]
            doubtful = [line for line in said if line.startswith("?")]
            assert all(NOT_CERTAIN in line for line in doubtful), doubtful
            asked |= {line.split()[1] for line in doubtful}
            last.append(len(said) + 1)
        with open_book(place) as book:
            notes = [trial.note for trial in book.trials()]
            sums_up(book)
        assert len(notes) == len(set(notes)), "nothing is written twice"
        assert set(confirmed) <= set(notes), "what was confirmed is there"
        in_flight = {f"{name}-{number}" for name, number in enumerate(last)}
        assert set(notes) - set(confirmed) <= asked | in_flight
        assert len(confirmed) > 50


def test_nobody_is_refused_through_restarts_who_has_keys() -> None:
    """Ten writers, each run in a book opened anew: what a repeat would have served is served, also where the line broke
    at the confirmation; and nothing is there twice."""
    with running_server() as server:
        place = Servers(server).new()
        with open_book(place) as book:
            book.add_trial(noted("first"))

        def work(confirm: Confirm, name: str) -> None:
            for number in range(8):
                with open_book(place) as book:
                    book.add_trial(noted(f"{name}-{number}"), f"{name}-{number}")
                    confirm(f"{name}-{number}")

        writers = [child_of(lambda confirm, name=str(n): work(confirm, name)) for n in range(WRITERS)]  # type: ignore[misc]
        for how in (signal.SIGINT, signal.SIGQUIT, signal.SIGINT):
            time.sleep(0.5)
            server.stop(how)
            time.sleep(0.3)
            server.start()
        confirmed = []
        for child, lines in writers:
            with lines:
                confirmed += lines.read().splitlines()
            assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
        with open_book(place) as book:
            notes = [trial.note for trial in book.trials()]
            sums_up(book)
        assert sorted(notes) == sorted(["first", *confirmed]) and len(confirmed) == 8 * WRITERS
