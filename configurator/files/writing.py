"""Text or bytes written to a file whole, or not at all."""

import os
from pathlib import Path
from threading import get_ident

from configurator.errors import BadInput, Fault


def write_whole(path: Path, content: str | bytes) -> None:
    """Write beside the target, then put in place; text as UTF-8 with its line ends as they are. Raises BadInput where
    that cannot be done; the target stays."""
    if path.exists() and not path.is_file():
        what = "is a directory" if path.is_dir() else "is not an ordinary file"
        raise BadInput([Fault(str(path), "", what, "a file to write")])
    beside = path.with_name(f".{path.name}.{os.getpid()}.{get_ident()}")
    try:
        try:
            with beside.open("wb") as file:
                file.write(content.encode() if isinstance(content, str) else content)
                file.flush()
                os.fsync(file.fileno())
            os.replace(beside, path)
        finally:
            beside.unlink(missing_ok=True)
    except (OSError, ValueError) as error:
        problem = f"cannot be written ({getattr(error, 'strerror', None) or error})"
        raise BadInput([Fault(str(path), "", problem, "a file in a folder there is")]) from None
