"""Workshop files: what no workshop means is refused where it stands."""

from pathlib import Path

import pytest

from configurator.catalogue.load import shipped_catalog_dir
from configurator.errors import BadInput
from configurator.ordering.meeting import load_meeting

ROADSTER = shipped_catalog_dir() / "examples" / "roadster.toml"
SOUND = {"today": "2026-05-04", "sureness": "0.9", "day": "2026-05-20"}


def written(path: Path, **changed: str) -> Path:
    said = SOUND | changed
    path.write_text(
        f'name = "one"\ntoday = {said["today"]}\nsureness = {said["sureness"]}\n'
        f'[[vehicle]]\nfile = "{ROADSTER}"\nday = {said["day"]}\n',
        encoding="utf-8",
    )
    return path


def test_a_sound_file_is_read(tmp_path: Path) -> None:
    meeting, _ = load_meeting(written(tmp_path / "shop.toml"))
    assert meeting.sureness == 0.9 and meeting.today.year == 2026
    assert load_meeting(written(tmp_path / "text.toml", today='"2026-05-04"'))[0] == meeting


@pytest.mark.parametrize(
    ("key", "value"),
    [("sureness", "1e-300"), ("sureness", "0.0"), ("sureness", "1.0"), ("today", "0"), ("today", "20260504"),
     ("today", '"0"'), ("today", "1e9"), ("day", "1800000000"), ("day", "true")],
)  # fmt: skip
def test_what_nobody_means_is_refused(key: str, value: str, tmp_path: Path) -> None:
    """A number in place of a day was taken for seconds since 1970."""
    path = written(tmp_path / "shop.toml", **{key: value})
    with pytest.raises(BadInput) as caught:
        load_meeting(path)
    text = str(caught.value)
    assert text.startswith(str(path)) and key in text
    assert key == "sureness" or "year, month and day" in text
