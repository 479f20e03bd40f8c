"""Five hundred made-up inputs through every reader; `python tests/fuzz_inputs.py 20000` reads more."""

from collections import Counter
from pathlib import Path

from fuzz_inputs import read_many


def test_every_reader_reads_or_refuses(tmp_path: Path) -> None:
    seen = Counter[str]()
    read_many(500, tmp_path, seen)
    assert seen.total() >= 500
    kinds = {what.partition(":")[0] for what in seen}
    assert len(kinds) == 8, "every reader had its share"
    assert all(f"{kind}: refused" in seen for kind in kinds if kind != "a run in the book"), seen
