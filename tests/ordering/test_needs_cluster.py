"""The long part of an order on real worker processes: the same to the last digit, whoever dies meanwhile."""

import re
import socket
import time
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path

import building
import psutil
import pytest
from cluster_processes import Processes, cluster, until
from run_folder import once
from typer.testing import CliRunner

from configurator.catalogue.load import shipped_catalog_dir
from configurator.cli import app
from configurator.errors import BadInput, TipinError
from configurator.ordering import needs_cluster
from configurator.ordering.needs_cluster import on_cluster
from configurator.ordering.needs_kept import kept_in
from configurator.ordering.needs_pieces import Arrays, Piece, here, regions_piece

STOCK = building.catalog()
POISON = """
import os
from configurator.ordering import needs_cluster
def deadly(piece, catalog, worked_out=needs_cluster.worked_out):
    if piece.who == "poison":
        os._exit(1)
    return worked_out(piece, catalog)
needs_cluster.worked_out = deadly
"""
ANOTHER_TIPIN = """
from configurator.ordering import needs_cluster
from configurator.ordering import needs_pieces
needs_pieces.program = needs_cluster.program = lambda: "tipin 0.0.1 (another)"
"""
SLOW = """
import time
from configurator.ordering import needs_cluster
def slow(piece, catalog, worked_out=needs_cluster.worked_out):
    time.sleep(0.3)
    return worked_out(piece, catalog)
needs_cluster.worked_out = slow
"""
"""Puts work between a kill and the end of all work; nothing is waited for by it."""
MANY = 10


def pieces(count: int = MANY) -> list[Piece]:
    cars = (building.vehicle(name=f"car {n}", engine={"idle_rpm": 640 + 10 * n}) for n in range(count))
    return [regions_piece(car, redrill=False) for car in cars]


def content(found: Iterator[tuple[Piece, Arrays]]) -> list[tuple[str, list[tuple[str, bytes]]]]:
    """Every piece that came, with its arrays to the last bit."""
    return sorted((p.who, sorted((name, array.tobytes()) for name, array in arrays.items())) for p, arrays in found)


@cache
def as_here(count: int = MANY) -> list[tuple[str, list[tuple[str, bytes]]]]:
    """What so many pieces come to without a cluster, worked out once for all tests of a run."""
    if count < MANY:
        return as_here()[:count]
    return once("windows without a cluster", lambda: content(here(pieces(), STOCK)))


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Processes]:
    with cluster(tmp_path) as started:
        yield started


def test_an_order_is_the_same_on_worker_processes_as_without(tmp_path: Path) -> None:
    examples = shipped_catalog_dir() / "examples"
    workshop = tmp_path / "workshop.toml"
    car = '[[vehicle]]\nfile = "{}"\nday = 2026-05-11\nname = "{}"\n'
    cars = (car.format(examples / f"{file}.toml", name)
            for file, name in (("roadster", "one"), ("roadster", "two")))  # fmt: skip
    workshop.write_text('name = "x"\ntoday = 2026-05-04\nsureness = 0.3\n' + "".join(cars), encoding="utf-8")
    words = ["order", str(workshop), "--no-redrill", "--json", "--effort", "1", "--book", str(tmp_path / "none.sqlite")]
    alone = CliRunner().invoke(app, words)
    shared = CliRunner().invoke(app, [*words, "--cluster", "local:2"])
    assert alone.exit_code == shared.exit_code == 0, shared.output
    assert alone.stdout == shared.stdout and '"vehicle": "two"' in alone.stdout


def test_processes_of_this_machine_listen_on_it_alone_and_end_with_the_work() -> None:
    work = on_cluster("local:1")(pieces(2), STOCK)
    before = {child.pid for child in psutil.Process().children(recursive=True)}
    next(work)
    family = [psutil.Process(), *psutil.Process().children(recursive=True)]
    started = [process for process in family[1:] if process.pid not in before]
    places = {c.laddr.ip for process in started for c in process.net_connections() if c.status == psutil.CONN_LISTEN}
    own = {c.laddr.ip for c in family[0].net_connections() if c.status == psutil.CONN_LISTEN}
    work.close()  # type: ignore[attr-defined]
    assert places and places | own == {"127.0.0.1"}
    until(lambda: not any(process.is_running() for process in started), "the processes end")


def test_a_worker_killed_in_the_middle_costs_time_only(processes: Processes) -> None:
    workers = [processes.worker(SLOW), processes.worker(SLOW)]
    work = on_cluster(processes.address)(pieces(), STOCK)
    first = next(work)
    workers[0].kill()
    rest = list(work)
    assert workers[0].wait() != 0 and workers[1].poll() is None
    assert content(iter([first, *rest])) == as_here()


def test_the_only_worker_may_die_if_another_comes(processes: Processes) -> None:
    """The catalogue was on the dead one alone."""
    only = processes.worker(SLOW)
    work = on_cluster(processes.address)(pieces(4), STOCK)
    first = next(work)
    only.kill()
    processes.worker()
    assert content(iter([first, *work])) == as_here(4)


def test_a_vehicle_of_which_every_worker_dies_is_named_and_the_others_are_done(tmp_path: Path) -> None:
    deadly = regions_piece(building.vehicle(name="poison", engine={"idle_rpm": 900}), redrill=False)
    found: list[tuple[Piece, Arrays]] = []
    with cluster(tmp_path, deaths_allowed=0) as processes:
        processes.worker(POISON, restarts=True)
        with pytest.raises(BadInput, match="workers died, time and again, of poison") as error:
            found.extend(_noting(found, on_cluster(processes.address)([*pieces(2), deadly, *pieces(4)[2:]], STOCK)))
    assert content(iter(found)) == as_here(4)
    assert "car" not in str(error.value)


def _noting(found: list[tuple[Piece, Arrays]], work: Iterator[tuple[Piece, Arrays]]) -> Sequence[tuple[Piece, Arrays]]:
    for one in work:
        found.append(one)
    return ()


def test_a_scheduler_killed_ends_plainly_and_what_was_done_is_kept(processes: Processes, tmp_path: Path) -> None:
    processes.worker(SLOW)
    kept, said = tmp_path / "kept.npz", list[str]()
    work = kept_in(kept, on_cluster(processes.address), said.append)(pieces(), STOCK)
    done = [next(work), next(work)]
    processes.scheduler.kill()
    began = time.monotonic()
    with pytest.raises(BadInput, match=r"scheduler was lost.*file of kept work"):
        done.extend(_noting(done, work))
    assert time.monotonic() - began < 60 and 2 <= len(done) < 10
    again = list(kept_in(kept, here, said.append)(pieces(), STOCK))
    assert said == [f"0 of 10 pieces of work taken from {kept}", f"{len(done)} of 10 pieces of work taken from {kept}"]
    assert content(iter(again)) == as_here()


def test_nobody_at_the_address_ends_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(needs_cluster, "CONNECT_S", 1.0)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"tcp://127.0.0.1:{silent.getsockname()[1]}"
        for _ in ("somebody who never answers", "nobody"):
            began = time.monotonic()
            with pytest.raises(BadInput, match=f"cluster {address}: no scheduler answers there.*`dask scheduler`"):
                next(on_cluster(address)(pieces(1), STOCK))
            assert time.monotonic() - began < 30
            silent.close()


def test_somebody_else_at_the_address_is_refused(processes: Processes, monkeypatch: pytest.MonkeyPatch) -> None:
    log = processes.log_of(processes.worker())
    found = until(lambda: re.search(r"Start worker at: +(tcp://\S+)", log.read_text(encoding="utf-8")), "it starts")
    with pytest.raises(BadInput, match="is a Worker; expected the address of a scheduler"):
        next(on_cluster(found[1])(pieces(1), STOCK))
    with pytest.raises(BadInput, match="no scheduler answers there"):
        monkeypatch.setattr(needs_cluster, "CONNECT_S", 3.0)
        web = re.search(r"dashboard at: +([\d.:]+)", log.read_text(encoding="utf-8"))
        assert web is not None
        next(on_cluster(web[1])(pieces(1), STOCK))


@pytest.mark.parametrize("address", ["", "garage", "local:", "local:0", "local:many", "http://127.0.0.1:80", "a:b"])
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(BadInput, match="such as"):
        next(on_cluster(address)(pieces(1), STOCK))


def test_a_cluster_without_workers_ends_soon(processes: Processes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(needs_cluster, "NO_WORKER_S", 0.5)
    with pytest.raises(BadInput, match=r"no worker is left.*at least one.*dask worker tcp://127"):
        next(on_cluster(processes.address)(pieces(1), STOCK))


def test_the_last_worker_gone_ends_soon_and_says_what_is_open(
    processes: Processes, monkeypatch: pytest.MonkeyPatch
) -> None:
    only = processes.worker(SLOW)
    work = on_cluster(processes.address)(pieces(5), STOCK)
    next(work)
    monkeypatch.setattr(needs_cluster, "NO_WORKER_S", 0.5)
    only.kill()
    with pytest.raises(BadInput, match=r"no worker is left; still open: car .*kept work"):
        _noting([], work)


def test_a_worker_with_another_tipin_is_refused_before_and_during_the_work(
    processes: Processes, monkeypatch: pytest.MonkeyPatch
) -> None:
    processes.worker(ANOTHER_TIPIN)
    with pytest.raises(BadInput, match=r"worker tcp://.*: runs tipin 0\.0\.1 \(another\); expected tipin .*numpy"):
        next(on_cluster(processes.address)(pieces(1), STOCK))
    monkeypatch.setattr(needs_cluster._Work, "_check_programs", lambda self: None)
    with pytest.raises(TipinError, match=r"a worker runs tipin 0\.0\.1 \(another\); expected tipin"):
        next(on_cluster(processes.address)(pieces(1), STOCK))


def test_a_fault_found_by_a_worker_is_told_as_without_one(processes: Processes) -> None:
    processes.worker()
    car = building.vehicle(engine={"altitude_m": 3000}, tip_in={"start": "cruise", "cruise_pressure_kpa": 95})
    told = []
    for workers in (here, on_cluster(processes.address)):
        with pytest.raises(BadInput, match="not below the air") as error:
            next(workers([regions_piece(car, redrill=False)], STOCK))
        told.append(error.value.faults)
    assert told[0] == told[1]
