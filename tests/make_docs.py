"""Make again what the pages of documentation take from the program: `python tests/make_docs.py [--check]`.

Pages are written by hand, but for two things. What stands between `<!-- made: NAME -->` and `<!-- made until here -->`
comes from the program's own declarations (reference_tables.py); what stands below a `$ ` line of a console block is
that command's output (console_blocks.py). --check writes nothing and fails if a page would change.
"""

import re
import sys
import tempfile
from pathlib import Path

from console_blocks import ROOT, Run, in_folder, scratch_copy, with_real_output
from reference_tables import MADE

REGION = re.compile(r"(?P<head><!-- made: (?P<name>[^>]+?) -->\n).*?(?P<tail><!-- made until here -->)", re.DOTALL)


def pages() -> list[Path]:
    """Every page, those a visitor meets first in front."""
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def with_made_regions(page: str) -> str:
    """The page with every region made again from the program's declarations."""

    def make(region: re.Match[str]) -> str:
        name, _, argument = region["name"].partition(" ")
        return f"{region['head']}\n{MADE[name](argument).strip()}\n\n{region['tail']}"

    return REGION.sub(make, page)


def remade(page: str, run: Run) -> str:
    """The page as it ought to be."""
    return with_real_output(with_made_regions(page), run)


def main() -> int:
    """Write the pages that change, or with --check only name them; exit code 1 if --check found any."""
    only_check = "--check" in sys.argv[1:]
    stale = 0
    for path in pages():
        before = path.read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as place:
            after = remade(before, in_folder(scratch_copy(Path(place))))
        if after != before:
            stale += 1
            print(f"{path.relative_to(ROOT)}: {'is out of date' if only_check else 'made again'}")
            if not only_check:
                path.write_text(after, encoding="utf-8")
    return 1 if only_check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
