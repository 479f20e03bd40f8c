"""Whatever is asked of whatever page leads to an answer, and never to a fault of the program."""

from pathlib import Path

from fuzz_pages import asked_often


def test_requests_that_nobody_means_are_answered(tmp_path: Path) -> None:
    answered = asked_often(400, tmp_path, seed=7)
    assert len({path for path, _ in answered}) > 35, "most pages were asked for"
    assert {200, 303, 400, 404} <= {status for _, status in answered}
