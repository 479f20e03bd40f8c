"""A vehicle file mended on the page: the faults beside their lines, and nothing kept that cannot be used or was changed
by another."""

import asyncio
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_page import EXAMPLES, OWN_FORM, ask, browser, page_of, workshop_in

from configurator.units.showing import SHOWN
from configurator.web.folder import MOST_WRITTEN_BYTES
from configurator.web.workshop import Workshop

VAN = (EXAMPLES / "van.toml").read_text(encoding="utf-8")
WRONG = VAN.replace("idle_rpm", "idel_rpm").replace("displacement_cc = ", "displacement_cc = -")
LINES = {WRONG[: WRONG.index(key)].count("\n") + 1 for key in ("idel_rpm", "displacement_cc = -")}


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars")


@pytest.fixture
def client(workshop: Workshop) -> TestClient:
    return browser(page_of(workshop), follow=False)


@pytest.fixture
def inches() -> Iterator[None]:
    chosen = SHOWN.set("inch")
    yield
    SHOWN.reset(chosen)


def fields(text: str) -> dict[str, str]:
    """What the first form of a page sends as it stands."""
    form = re.findall(r"(?s)<form action=.*?</form>", text)[0]
    hidden = re.findall(r'(?s)<input type="hidden" name="([^"]*)" value="([^"]*)"', form)
    lines = re.findall(r'(?s)<textarea [^>]*name="([^"]*)"[^>]*>\n(.*?)</textarea>', form)
    return {name: unescape(value).replace("\r\n", "\n") for name, value in [*hidden, *lines]}


def sent(client: TestClient, place: str, words: dict[str, str]) -> tuple[int, str, str]:
    """Sent as a browser does, with its ends of lines: status, where it leads, text."""
    files = {name: (None, value.replace("\n", "\r\n")) for name, value in words.items()}
    answer = client.post(place, files=files, headers=OWN_FORM)
    return answer.status_code, answer.headers.get("location", ""), answer.text


def test_a_refused_file_comes_back_with_its_lines_to_be_mended(workshop: Workshop, client: TestClient) -> None:
    refused = client.post("/upload", headers=OWN_FORM, files={"file": ("My van.toml", WRONG.encode())})
    form = fields(refused.text)
    assert refused.status_code == 400 and form["name"] == "My-van" and form["text"] == WRONG
    at_fault = {int(name.removeprefix("line-")) for name in form if name.startswith("line-")}
    assert at_fault == LINES and "did you mean idle_rpm?" in unescape(refused.text)
    mended = {name: value.replace("idel_rpm", "idle_rpm").replace("= -", "= ") if "line-" in name else value
              for name, value in form.items()}  # fmt: skip
    half = form | {name: value for name, value in mended.items() if "idle_rpm" in value and "line-" in name}
    status, _, text = sent(client, "/mend", half)
    assert status == 400 and len([name for name in fields(text) if "line-" in name]) == 1
    assert not list(workshop.folder.path.glob("*.toml"))
    assert sent(client, "/mend", mended)[:2] == (303, "/car/My-van")
    assert (workshop.folder.path / "My-van.toml").read_text(encoding="utf-8") == VAN


def test_a_file_of_the_folder_is_mended_in_its_place(workshop: Workshop, client: TestClient) -> None:
    """A text with Windows' ends of lines keeps them."""
    file = workshop.folder.path / "van.toml"
    file.write_bytes(WRONG.replace("\n", "\r\n").encode())
    assert 'href="/car/van/file"' in client.get("/").text
    form = fields(client.get("/car/van/file").text)
    mended = {name: value.replace("idel_rpm", "idle_rpm").replace("= -", "= ") if "line-" in name else value
              for name, value in form.items()}  # fmt: skip
    assert sent(client, "/car/van/file", mended)[:2] == (303, "/car/van")
    assert file.read_bytes() == VAN.replace("\n", "\r\n").encode()
    assert client.get("/car/van").status_code == 200


def test_a_line_may_be_added_where_one_is_missing(workshop: Workshop, client: TestClient) -> None:
    line = next(line for line in VAN.splitlines() if line.startswith("displacement_cc"))
    (workshop.folder.path / "van.toml").write_text(VAN.replace(line + "\n", ""))
    form = fields(client.get("/car/van/file").text)
    heading = next(name for name, value in form.items() if value.strip() == "[engine]")
    assert sent(client, "/car/van/file", form | {heading: f"[engine]\n{line}"})[0] == 303


def test_a_file_that_is_no_toml_names_the_line_too(workshop: Workshop, client: TestClient) -> None:
    (workshop.folder.path / "half.toml").write_text('note = "one"\nname = "half\n')
    text = client.get("/car/half/file").text
    assert fields(text)["line-2"] == 'name = "half' and "is not TOML" in text


def test_a_file_that_can_be_used_is_shown_whole_and_kept_only_if_it_still_can(
    workshop: Workshop, client: TestClient
) -> None:
    file = workshop.folder.path / "van.toml"
    file.write_text(VAN, encoding="utf-8")
    form = fields(client.get("/car/van/file").text)
    assert form["text"] == VAN
    assert sent(client, "/car/van/file", form | {"text": WRONG})[0] == 400 and file.read_text() == VAN
    assert sent(client, "/car/van/file", form | {"text": VAN + "# later\n"})[0] == 303
    assert file.read_text() == VAN + "# later\n"


def test_what_was_changed_meanwhile_stays(workshop: Workshop, client: TestClient) -> None:
    file = workshop.folder.path / "van.toml"
    file.write_text(VAN, encoding="utf-8")
    form = fields(client.get("/car/van/file").text)
    file.write_text(VAN + "# by another hand\n", encoding="utf-8")
    status, _, text = sent(client, "/car/van/file", form | {"text": VAN + "# mine\n"})
    assert status == 400 and "was changed meanwhile" in text and "# mine" in text
    assert file.read_text() == VAN + "# by another hand\n"
    assert sent(client, "/car/van/file", form | {"digest": "", "text": VAN})[0] == 400


@pytest.mark.parametrize("name", ["../secret", "..%2Fsecret", "link", "none", "evening", "%00"])
def test_no_name_leads_to_another_file(workshop: Workshop, client: TestClient, tmp_path: Path, name: str) -> None:
    (tmp_path / "secret.toml").write_text(VAN)
    (workshop.folder.path / "link.toml").symlink_to(tmp_path / "secret.toml")
    (workshop.folder.path / "evening.toml").write_text('name = "e"\n[[vehicle]]\nfile = "van.toml"\n')
    assert client.get(f"/car/{name}/file").status_code == 404
    assert sent(client, f"/car/{name}/file", {"text": WRONG, "digest": ""})[0] in (404, 405)
    assert (tmp_path / "secret.toml").read_text() == VAN


def test_a_new_file_overwrites_none(workshop: Workshop, client: TestClient) -> None:
    file = workshop.folder.path / "van.toml"
    file.write_text(VAN, encoding="utf-8")
    assert sent(client, "/mend", {"name": "../../van", "text": VAN + "# another\n"})[:2] == (303, "/car/van-2")
    assert file.read_text() == VAN


def test_what_is_no_text_or_too_long_is_told_without_a_field(workshop: Workshop, client: TestClient) -> None:
    for content in (b"\xff\xfe", b"", b"\0", b"#" * MOST_WRITTEN_BYTES + b"\nx"):
        refused = client.post("/upload", headers=OWN_FORM, files={"file": ("a.toml", content)})
        assert refused.status_code == 400 and "was not taken" in refused.text and "<textarea" not in refused.text
    (workshop.folder.path / "long.toml").write_bytes(b"#" * MOST_WRITTEN_BYTES + b"\nx")
    assert client.get("/car/long/file").status_code == 400


@pytest.mark.usefixtures("inches")
def test_a_file_is_shown_as_it_is_written_whatever_units_are_chosen(workshop: Workshop) -> None:
    """Else a line that was not touched would be written anew with both."""
    measured = VAN + '# a note: 0.80 mm, 12 kg\n[engine2]\nbore = "0.80 mm"\n'
    (workshop.folder.path / "van.toml").write_text(measured, encoding="utf-8")
    shown = asyncio.run(ask(page_of(workshop), "/car/van/file")).body.decode()
    assert fields(shown)["text"] == measured and unescape(shown).count('bore = "0.80 mm"') == 2


def test_markup_in_a_file_stays_text(client: TestClient) -> None:
    hostile = 'name = "</textarea><script>alert(1)</script>"\n'
    refused = client.post("/upload", headers=OWN_FORM, files={"file": ('"><b>.toml', hostile.encode())})
    assert (
        refused.status_code == 400 and "<script>alert" not in refused.text and fields(refused.text)["text"] == hostile
    )
