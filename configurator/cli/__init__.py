"""The command line: parse, call, show, exit code.

Exit codes: 0 done or yes; 1 the answer is no; 2 the input was bad; 3 the book was changed, but the answer is lost.
"""

import io
import os
import sys

from configurator.cli import (
    about,
    book,
    card,
    catalogue,
    choosing,
    draw,
    fit,
    new,
    next,
    order,
    serve,
    stock,
    trial,
    tuning,
    units,
)
from configurator.cli.fields import as_option
from configurator.cli.recording import drop_output
from configurator.cli.shared import app
from configurator.errors import TipinError

for _variable in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    # Before numpy is loaded: its products are small here, and threads that wait for one another burn cores away.
    os.environ.setdefault(_variable, "1")

__all__ = [
    "about",
    "app",
    "book",
    "card",
    "catalogue",
    "choosing",
    "draw",
    "fit",
    "main",
    "new",
    "next",
    "order",
    "serve",
    "stock",
    "trial",
    "tuning",
    "units",
]


def main() -> None:
    """Run the command line; bad input ends in one message on stderr and exit code 2."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a letter that the output does not have is no reason to give none
    try:
        app(prog_name="tipin")
    except TipinError as error:
        from configurator.files.lines import pointed

        print(f"tipin: {pointed(error).told(as_option)}", file=sys.stderr)
        sys.exit(2)
    except OSError as error:
        drop_output()
        print(f"tipin: output cannot be written ({error.strerror})", file=sys.stderr)
        sys.exit(2)
