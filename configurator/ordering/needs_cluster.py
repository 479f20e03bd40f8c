"""The long part of an order on other processes and machines, by Dask; `distributed` is loaded here and nowhere else.

The catalogue travels to a worker once. A worker that dies costs what it was at: Dask gives that to another, a few
times. Work under which worker after worker dies is named. Nothing is waited for without end.
"""

import asyncio
import logging
import os
import re
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from queue import Empty, Queue
from tempfile import TemporaryDirectory
from typing import Any
from uuid import uuid4

from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault, TipinError, one_line
from configurator.ordering.needs_pieces import Arrays, Piece, Workers, catalog_digest, program, worked_out
from configurator.stopping import heed

LOCAL = "local:"
_ADDRESS = re.compile(r"((tcp|tls)://)?([\w.-]+|\[[0-9a-fA-F:.]+\]):\d{1,5}")
MOST_LOCAL = 64
SPELLS_AT_ONCE = 10
"""Short pieces that travel together."""
CONNECT_S = 15.0
ANSWER_S = 20.0
"""How long a scheduler may take for an answer before it is taken for lost."""
NO_WORKER_S = 30.0
"""How long there may be no worker at all, at the start or after they have died."""
CLOSE_S = 5.0
ARRIVAL_POLL_S = 0.25
WORKERS_LOOK_S = 2.0
"""Between two looks at whether scheduler and workers are still there."""
WITHOUT_DISTRIBUTED = (
    "a cluster needs Dask's distributed: pip install '.[cluster]' in tipin's folder, here and on all workers"
)
START_ONE = "start one with `dask scheduler`, which shows its address"
KEEP = "a file of kept work saves what was done for the next time"
Done = list[dict[str, Any]]


def on_cluster(address: str) -> Workers:
    """Workers at a Dask scheduler's address, or so many processes of this machine's own: "local:4".

    They raise BadInput where nobody answers, no worker is left, a worker runs another program, or workers die of a
    vehicle, and Stopped if the work was stopped from outside.
    """

    def work(pieces: Sequence[Piece], catalog: Catalog) -> Iterator[tuple[Piece, Arrays]]:
        if pieces:
            with _client(address) as client:
                yield from _Work(address, client, catalog).done(pieces)

    return work


@contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError:
        raise TipinError(WITHOUT_DISTRIBUTED) from None
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what matters of it is said in our own words
    with ExitStack() as stack:
        place: Any = address
        if address.startswith(LOCAL):
            place = stack.enter_context(_processes(address))
        else:
            _check_answers(address)
        try:
            client = Client(place, timeout=CONNECT_S, set_as_default=False, name="tipin")  # type: ignore[no-untyped-call]
        except (OSError, RuntimeError, ValueError) as error:
            raise _no_answer(address, error) from None
        stack.callback(_close, client)
        yield client


def _check_answers(address: str) -> None:
    """Raise BadInput unless a scheduler answers; a client would wait without end for whoever listens and is silent."""
    from distributed import rpc
    from distributed.security import Security

    if not _ADDRESS.fullmatch(address):
        raise _refusal(address, "is no address", f"one such as tcp://10.0.0.5:8786, or {LOCAL}{os.cpu_count()}")

    async def ask() -> Any:
        terms = Security().get_connection_args("client")  # type: ignore[no-untyped-call]
        async with rpc(address, connection_args=terms) as other:  # type: ignore[no-untyped-call]
            return await other.identity()

    async def asked() -> Any:
        return await asyncio.wait_for(ask(), CONNECT_S)

    try:
        found = asyncio.run(asked())
    except Exception as error:  # whoever listens there may say anything
        raise _no_answer(address, error) from None
    kind = found.get("type") if isinstance(found, dict) else None
    if kind != "Scheduler":
        raise _refusal(address, f"is a {kind or 'program of another kind'}", "the address of a scheduler", START_ONE)


def _no_answer(address: str, error: Exception) -> BadInput:
    found = one_line((str(error) or f"waited {CONNECT_S:g} s").splitlines()[0])[:200]
    return _refusal(address, f"no scheduler answers there ({found})", "", START_ONE)


@contextmanager
def _processes(address: str) -> Iterator[Any]:
    """A cluster of processes that listen on this machine only, ended afterwards."""
    from distributed import LocalCluster

    count = _count(address)
    with TemporaryDirectory(prefix="tipin-", ignore_cleanup_errors=True) as folder:
        try:
            started = LocalCluster(  # type: ignore[no-untyped-call]
                n_workers=count, threads_per_worker=1, processes=True, host="127.0.0.1", scheduler_port=0,
                dashboard_address="127.0.0.1:0", worker_dashboard_address="127.0.0.1:0", memory_limit=0,
                local_directory=folder, silence_logs=logging.CRITICAL,
            )  # fmt: skip
        except (OSError, RuntimeError, TimeoutError) as error:
            found = one_line((str(error) or type(error).__name__).splitlines()[0])[:200]
            raise _refusal(address, f"the processes could not be started ({found})", "", "try fewer") from None
        with started:
            yield started


def _count(address: str) -> int:
    text = address.removeprefix(LOCAL)
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= MOST_LOCAL):
        such = f"1 to {MOST_LOCAL}, such as {LOCAL}{os.cpu_count()}"
        raise _refusal(address, f"'{text}' is no number of processes", such)
    return int(text)


def _close(client: Any) -> None:
    with suppress(OSError, TimeoutError):  # a scheduler that was lost says no good-bye
        client.close(timeout=CLOSE_S)


class _Work:
    """One run of pieces over a cluster."""

    def __init__(self, address: str, client: Any, catalog: Catalog) -> None:
        self._address, self._client, self._catalog = address, client, catalog
        self._token = uuid4().hex[:12]
        self._arrived: Queue[Any] = Queue()
        self._waiting: dict[str, list[Piece]] = {}
        """Pieces of each task that is not done, by the task's key."""
        self._futures: dict[str, Any] = {}
        self._seen_worker = time.monotonic()
        self._looked = 0.0

    def done(self, pieces: Sequence[Piece]) -> Iterator[tuple[Piece, Arrays]]:
        """Pieces as they come back. Work under which workers died is tried once more, alone, before it is blamed: it
        may have stood beside what killed them."""
        self._wait_for_workers()
        self._check_programs()
        try:
            digest = catalog_digest(self._catalog)
            stock = self._submit(_unpacked, self._catalog, digest, program(), key=f"tipin-catalogue-{self._token}")
            suspects: list[list[Piece]] = []
            for together in _together(pieces):
                self._give(together, stock)
            yield from self._gathered(suspects)
            blamed: list[list[Piece]] = []
            for piece in (piece for together in suspects for piece in together):
                self._give([piece], stock)
                yield from self._gathered(blamed)
            if blamed:
                whose = _some([piece.who for together in blamed for piece in together])
                remedy = f"look at its file, and at the workers' logs; {KEEP}"
                raise _refusal(self._address, f"workers died, time and again, of {whose}", "", remedy)
        finally:
            self._cancel()

    def _submit(self, work: Any, *arguments: Any, key: str) -> Any:
        return self._client.submit(work, *arguments, key=key, pure=False)

    def _give(self, pieces: list[Piece], stock: Any) -> None:
        key = f"tipin-{self._token}-{len(self._futures)}"
        self._waiting[key] = pieces
        future = self._submit(_worked_out, pieces, stock, program(), key=key)
        self._futures[key] = future
        future.add_done_callback(self._arrived.put)

    def _gathered(self, suspects: list[list[Piece]]) -> Iterator[tuple[Piece, Arrays]]:
        """Everything that was given, as it arrives; those of which workers died are put to the suspects."""
        from distributed import KilledWorker

        while self._waiting:
            heed()
            try:
                future = self._arrived.get(timeout=ARRIVAL_POLL_S)
            except Empty:
                self._look()
                continue
            if future.key not in self._waiting:
                continue
            if future.status not in ("finished", "error"):
                raise self._lost()
            try:
                found: Done = future.result(timeout=ANSWER_S)
            except KilledWorker:
                suspects.append(self._waiting.pop(future.key))
                continue
            except TipinError:
                raise
            except (OSError, TimeoutError):
                raise self._lost() from None
            except Exception as error:
                raise self._failed(self._waiting[future.key], error) from None
            future.release()
            yield from zip(self._waiting.pop(future.key), found, strict=True)

    def _workers(self) -> dict[str, Any]:
        """Workers by address; raises BadInput where the scheduler does not say."""
        client = self._client
        if client.status != "running":
            raise self._lost()
        try:
            return dict(client.sync(client.scheduler.ncores, workers=None, callback_timeout=ANSWER_S))
        except Exception:
            raise self._lost() from None

    def _look(self) -> None:
        """Make sure, now and then, that scheduler and workers are there."""
        now = time.monotonic()
        if now < self._looked + WORKERS_LOOK_S and self._client.status == "running":
            return
        if self._workers():
            self._seen_worker = now
        elif now > self._seen_worker + NO_WORKER_S:
            open_ = sorted({piece.who for pieces in self._waiting.values() for piece in pieces})
            problem = "no worker is left" + (f"; still open: {_some(open_)}" if open_ else "")
            raise _refusal(
                self._address, problem, "at least one", f"start one with `dask worker {self._address}`; {KEEP}"
            )
        self._looked = now

    def _wait_for_workers(self) -> None:
        self._seen_worker = time.monotonic()
        while not self._workers():
            heed()
            self._looked = 0.0
            self._look()
            time.sleep(ARRIVAL_POLL_S)

    def _check_programs(self) -> None:
        """Refuse workers that would work otherwise than this program does."""
        try:
            running = self._client.run(program, on_error="return")
        except Exception:
            raise self._lost() from None
        others = {worker: found for worker, found in running.items() if found != program()}
        if others:
            said = {
                worker: found if isinstance(found, str) else "no tipin that it could start"
                for worker, found in others.items()
            }
            raise BadInput([
                Fault("", f"{self._address}, worker {worker}", f"runs {one_line(found)}", program(),
                      "install the same tipin and numpy there", "cluster")
                for worker, found in sorted(said.items())
            ])  # fmt: skip

    def _cancel(self) -> None:
        if self._client.status == "running" and self._waiting:
            self._client.cancel([self._futures[key] for key in self._waiting], force=True)

    def _lost(self) -> BadInput:
        return _refusal(
            self._address, "the scheduler was lost in the middle of the work", "", f"start it again; {KEEP}"
        )

    def _failed(self, pieces: Sequence[Piece], error: Exception) -> BadInput:
        said = one_line(f"{type(error).__name__}: {error}")[:300]
        whose = _some([piece.who for piece in pieces])
        return _refusal(self._address, f"a worker failed at {whose} ({said})", "", f"try it without a cluster; {KEEP}")


def _unpacked(catalog: Catalog, digest: str, theirs: str) -> Catalog:
    """On a worker: the catalogue as it came."""
    if program() != theirs or catalog_digest(catalog) != digest:
        raise TipinError(_OTHER_PROGRAM.format(program(), theirs))
    return catalog


def _worked_out(pieces: Sequence[Piece], catalog: Catalog, theirs: str) -> Done:
    """On a worker: what pieces come to. A worker may have joined after the others were asked what they run."""
    if program() != theirs:
        raise TipinError(_OTHER_PROGRAM.format(program(), theirs))
    return [worked_out(piece, catalog) for piece in pieces]


_OTHER_PROGRAM = "a worker runs {}; expected {}; install the same tipin and numpy there"


def _together(pieces: Sequence[Piece]) -> Iterator[list[Piece]]:
    """Long pieces by themselves and first, short ones some at a time."""
    short = [piece for piece in pieces if piece.kind == "run"]
    yield from ([piece] for piece in pieces if piece.kind == "regions")
    yield from (short[first : first + SPELLS_AT_ONCE] for first in range(0, len(short), SPELLS_AT_ONCE))


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def _refusal(address: str, problem: str, expected: str, remedy: str = "") -> BadInput:
    return BadInput.in_field("cluster", one_line(address), problem, expected, remedy)
