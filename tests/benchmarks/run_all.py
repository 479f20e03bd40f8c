"""Every benchmark in turn: `python tests/benchmarks/run_all.py [--short]`. Each may be run by itself.

Nothing else should run on the machine: peers are timed beside the program, but not at the same moment.
"""

import argparse
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
FULL: dict[str, list[str]] = {
    "start_up": [], "loading": [], "regions": [], "trends": [], "propose": [], "availability": [], "order": [],
    "cluster": [], "page_load": [], "recovery": [], "soak": [], "soak_book": [],
}  # fmt: skip
SHORT: dict[str, list[str]] = {
    "start_up": [], "loading": ["--rounds", "3"], "order": ["--sizes", "10", "30", "--seeds", "3", "--limit", "20"],
    "soak": ["--checks", "2000", "--proposals", "200", "--orders", "3", "--vehicles", "10"],
    "recovery": ["50"], "soak_book": ["--seconds", "20"],
}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--short", action="store_true")
    asked = parser.parse_args()
    failed = []
    for name, options in (FULL | SHORT if asked.short else FULL).items():
        print(f"\n## {name}\n", flush=True)
        done = subprocess.run([sys.executable, str(HERE / f"{name}.py"), *options], cwd=HERE)
        failed += [name] if done.returncode else []
    if failed:
        sys.exit(f"failed: {', '.join(failed)}")


if __name__ == "__main__":
    main()
