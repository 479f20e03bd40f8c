"""The same order however Python goes through its sets of texts, which is another way in every process."""

import os
import subprocess
import sys

from configurator.catalogue.load import shipped_catalog_dir

COMMAND = "from configurator.cli import main; main()"
MEETING = shipped_catalog_dir() / "examples" / "workshop" / "spring-meeting.toml"
HASH_SEEDS = (4, 5)
"""Two of which the boxes of the meeting differed, at the same price."""


def test_the_same_order_in_every_process() -> None:
    running = [
        subprocess.Popen(
            [sys.executable, "-c", COMMAND, "order", str(MEETING), "--json"], stdout=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONHASHSEED": str(seed)},
        )
        for seed in HASH_SEEDS
    ]  # fmt: skip
    first, other = (process.communicate()[0] for process in running)
    assert len(first) > 1000 and first == other
