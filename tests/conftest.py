"""What several modules share: a run's own folder and servers, and both databases that may hold a book."""

import os
import signal
from collections.abc import Iterator
from pathlib import Path

# Before numpy is loaded anywhere, also in the processes that tests start: each has a processor at most, and threads of
# matrix products that wait for one another burn it away.
os.environ["OPENBLAS_NUM_THREADS"] = "1"

import pytest
from book_stores import Files, Servers, Store
from not_run import NotRun
from postgres_server import Server, server_of_the_run
from run_folder import Keeper, folder

os.environ["TIPIN_CACHE"] = "off"  # tests leave nothing in the cache of whoever runs them
KEEPER = pytest.StashKey[Keeper]()


def pytest_configure(config: pytest.Config) -> None:
    """The process that starts the run makes its folder and looks at the machine, once for all workers."""
    if not hasattr(config, "workerinput"):
        config.stash[KEEPER] = Keeper()
    os.environ["XDG_DATA_HOME"] = str(folder() / "data")  # where copies of a book on a server go
    config.addinivalue_line("markers", "needs(name): needs this of the machine, a name of NEEDS in tests/machine.py")
    config.addinivalue_line("markers", "long(seconds): so long that it is begun first, while others run beside it")
    config.pluginmanager.register(NotRun(config))


def pytest_unconfigure(config: pytest.Config) -> None:
    """Also after Ctrl-C: what the run has started ends with it."""
    if keeper := config.stash.get(KEEPER, None):
        keeper.let_go()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The long ones first: at the end of a run they would keep one worker busy, and the others idle."""
    items.sort(key=lambda item: max((mark.args[0] for mark in item.iter_markers("long")), default=0), reverse=True)


@pytest.fixture(scope="session")
def postgres() -> Server:
    """The PostgreSQL server of this run, which other workers use too: not to be stopped."""
    return server_of_the_run()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.needs("postgres"))])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Where books are made: what a test finds with one database, it must find with the other."""
    made: Store = Files(tmp_path) if request.param == "sqlite" else Servers(request.getfixturevalue("postgres"))
    yield made
    made.forget()


@pytest.fixture
def place(store: Store) -> str:
    """A place for a book of this test's own; nothing is there yet."""
    return store.new()


@pytest.fixture
def heeds_ctrl_c() -> Iterator[None]:
    """Ctrl-C interrupts this test's process and those that it starts, even where the run was started with it ignored,
    as every job in the background of a shell is."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
