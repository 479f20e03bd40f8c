"""Fixtures that several modules share: both databases that may hold a book."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from book_stores import Files, Servers, Store
from postgres_server import Server, running_server

os.environ["TIPIN_CACHE"] = "off"  # tests leave nothing in the cache of whoever runs them


@pytest.fixture(scope="session")
def postgres() -> Iterator[Server]:
    """A PostgreSQL server of this session's own."""
    with running_server() as server:
        yield server


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Where books are made: what a test finds with one database, it must find with the other."""
    made: Store = Files(tmp_path) if request.param == "sqlite" else Servers(request.getfixturevalue("postgres"))
    yield made
    made.forget()


@pytest.fixture
def place(store: Store) -> str:
    """A place for a book of this test's own; nothing is there yet."""
    return store.new()
