"""The book as text."""

import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from configurator.views.book import when


@pytest.fixture
def two_hours_east(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    with monkeypatch.context() as here:
        here.setenv("TZ", "XXX-2")
        time.tzset()
        yield
    time.tzset()


@pytest.mark.usefixtures("two_hours_east")
def test_a_time_is_shown_as_it_was_typed() -> None:
    """Typed without an offset it is the machine's time, and so it is told."""
    assert when(datetime(2026, 5, 2, 22, 30, tzinfo=UTC)) == "2026-05-03 00:30"
