"""A file is on the disk before it takes the old one's place; what cannot be written leaves the old one there."""

import os
from pathlib import Path

import pytest

from configurator.errors import BadInput
from configurator.files.writing import write_whole


@pytest.mark.parametrize("content", ["réglé\r\n\n", b"\x00\r\n\xff"], ids=["text", "bytes"])
def test_what_is_written_is_read_again_byte_for_byte(tmp_path: Path, content: str | bytes) -> None:
    target = tmp_path / "card.html"
    target.write_bytes(b"an older and longer card")
    write_whole(target, content)
    assert target.read_bytes() == (content.encode() if isinstance(content, str) else content)
    assert [path.name for path in tmp_path.iterdir()] == ["card.html"]


def test_all_of_it_is_on_the_disk_before_the_old_file_goes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine that loses power between the two has the old file whole."""
    target, done = tmp_path / "card.html", []
    replace = os.replace

    def synced(descriptor: int) -> None:
        done.append(f"{os.fstat(descriptor).st_size} bytes on the disk")

    def replaced(source: Path, destination: Path) -> None:
        done.append("in its place")
        replace(source, destination)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(os, "replace", replaced)
    write_whole(target, "x" * 1000)
    assert done == ["1000 bytes on the disk", "in its place"]


@pytest.mark.parametrize("fails", ["fsync", "replace"])
def test_a_disk_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails: str) -> None:
    target = tmp_path / "card.html"
    target.write_bytes(b"old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, fails, full)
    with pytest.raises(BadInput, match=r"cannot be written \(No space left on device\); expected a file in a folder"):
        write_whole(target, "new")
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [b"old"]


def test_a_place_that_is_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="is a directory; expected a file to write"):
        write_whole(tmp_path, "x")
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(BadInput, match="is not an ordinary file; expected a file to write"):
        write_whole(tmp_path / "pipe", "x")
    with pytest.raises(BadInput, match=r"cannot be written \(No such file or directory\)"):
        write_whole(tmp_path / "nowhere" / "card.html", "x")
