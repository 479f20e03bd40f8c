"""The served folder: only what lies in it is found, and nothing in it is ever lost to an upload."""

import errno
import re
import threading
from concurrent.futures import ThreadPoolExecutor
from html import unescape
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient
from web_page import CATALOG, EXAMPLES, OWN_FORM, browser, page_of, workshop_in

from configurator.car.fitted import vehicle_for
from configurator.errors import BadInput
from configurator.files.lines import pointed
from configurator.files.reading import read_toml
from configurator.judging.case import Case
from configurator.web.folder import Folder, NotThere, safe_stem
from configurator.web.workshop import Workshop

ROADSTER = (EXAMPLES / "roadster.toml").read_bytes()


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars", "van")


@pytest.fixture
def client(workshop: Workshop) -> TestClient:
    return browser(page_of(workshop))


def put(client: TestClient, name: str, content: bytes) -> tuple[int, str, str]:
    """Send a file as the form does: status, address arrived at, text."""
    answer = client.post("/upload", headers=OWN_FORM, files={"file": (name, content)})
    return answer.status_code, answer.url.path, answer.text


def files_in(workshop: Workshop) -> list[str]:
    return sorted(entry.name for entry in workshop.folder.path.iterdir() if not entry.name.startswith("book"))


def test_the_first_page_lists_what_lies_in_the_folder(workshop: Workshop, client: TestClient) -> None:
    place = workshop.folder.path
    (place / "notes.txt").write_text("no vehicle")
    (place / ".hidden.toml").write_bytes(ROADSTER)
    (place / "meeting.toml").write_bytes((EXAMPLES / "workshop" / "one-evening.toml").read_bytes())
    (place / "half.toml").write_text('name = "half')
    (place / "folder.toml").mkdir()
    text = client.get("/").text
    assert "Marshals&#39; van" in text and 'href="/car/van"' in text
    assert "half.toml, line 1: cannot be read, as it is not TOML" in text
    assert "Workshop files here: meeting." in text
    assert not [name for name in ("oadster", "notes.txt", ".hidden", "folder.toml") if name in text]


def test_an_empty_folder_says_what_to_do(tmp_path: Path) -> None:
    assert "holds no vehicle file yet" in browser(page_of(workshop_in(tmp_path / "none"))).get("/").text


@pytest.mark.parametrize(
    "name", ["../secret", "..%2Fsecret", "%2e%2e%2fsecret", "%2e%2e/secret", "....//secret", "secret%00", "van%00.toml",
             "van.toml", "%2Fetc%2Fpasswd", "..\\secret", "..%5csecret", "..", ".", "%2e", "", "VAN", "van/", "link"],
)  # fmt: skip
@pytest.mark.parametrize("below", ["", "/card", "/next", "/fewest", "/picture/lift/front"])
def test_no_name_leads_out_of_the_folder(workshop: Workshop, client: TestClient, name: str, below: str) -> None:
    secret = workshop.folder.path.parent / "secret.toml"
    secret.write_bytes(ROADSTER)
    (workshop.folder.path / "link.toml").symlink_to(secret)
    answer = client.get(f"/car/{name}{below}")
    assert answer.status_code == 404 or answer.url.path == "/", answer.url
    assert "oadster" not in answer.text
    with pytest.raises(NotThere):
        workshop.folder.vehicle(name)


def test_a_file_is_put_in_whole_under_its_own_name(workshop: Workshop, client: TestClient) -> None:
    status, path, text = put(client, "My roadster.toml", ROADSTER)
    assert (status, path) == (200, "/car/My-roadster") and "Club roadster" in text
    assert files_in(workshop) == ["My-roadster.toml", "van.toml"]
    assert (workshop.folder.path / "My-roadster.toml").read_bytes() == ROADSTER


def test_the_same_file_again_is_told_to_be_there(workshop: Workshop, client: TestClient) -> None:
    put(client, "roadster.toml", ROADSTER)
    for name in ("roadster.toml", "another.toml"):
        status, _, text = put(client, name, ROADSTER)
        assert status == 200 and "is there already" in text and 'href="/car/roadster"' in text
    assert files_in(workshop) == ["roadster.toml", "van.toml"]


def test_nothing_is_overwritten(workshop: Workshop, client: TestClient) -> None:
    before = (workshop.folder.path / "van.toml").read_bytes()
    assert put(client, "van.toml", ROADSTER)[1] == "/car/van-2"
    assert put(client, "van.toml", ROADSTER + b"# later\n")[1] == "/car/van-3"
    assert (workshop.folder.path / "van.toml").read_bytes() == before
    assert files_in(workshop) == ["van-2.toml", "van-3.toml", "van.toml"]


@pytest.mark.parametrize(
    "content",
    [b"", b"\x00", b"\xff\xfe", b'name = "half', b"name = 3", ROADSTER.replace(b"idle_rpm", b"idel_rpm"),
     ROADSTER.replace(b"straight-0.65", b"none-such").replace(b'nozzle_measured = "0.65 mm"', b""),
     ROADSTER + b"\n[assumed]\nmoon_phase = 1\n", (EXAMPLES / "workshop" / "one-evening.toml").read_bytes()],
)  # fmt: skip
def test_a_faulty_file_is_refused_as_the_command_line_would(
    workshop: Workshop, client: TestClient, content: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "car.toml").write_bytes(content)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadInput) as refused:
        Case.of(vehicle_for(read_toml(Path("car.toml")), "car.toml", CATALOG), CATALOG)
    status, _, text = put(client, r"C:\cars\car.toml", content)
    assert status == 400 and "was not taken" in text
    faults = pointed(refused.value)
    assert isinstance(faults, BadInput)
    for fault in faults.faults:
        assert all(word in unescape(text) for word in (fault.problem, fault.expected, fault.remedy, fault.written))
    assert files_in(workshop) == ["van.toml"]


def test_no_file_is_said_to_be_missing(client: TestClient) -> None:
    assert client.post("/upload", headers=OWN_FORM, data={"file": "words"}).status_code == 400
    assert client.post("/upload", headers=OWN_FORM | {"content-type": "multipart/form-data"}).status_code == 400
    odd = OWN_FORM | {"content-type": "multipart/form-data; boundary=x"}
    assert client.post("/upload", headers=odd, content=b"--x\r\nnonsense").status_code == 400


def test_a_full_folder_is_said_to_be_full(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("configurator.web.folder.MOST_FILES", 1)
    with pytest.raises(BadInput, match="holds 1 files already"):
        workshop.folder.add("roadster.toml", ROADSTER)


def test_a_folder_that_cannot_be_written_to_is_said_to_be_so(
    workshop: Workshop, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    status, _, text = put(client, "roadster.toml", ROADSTER)
    assert status == 400 and "cannot be written to (No space left on device)" in text
    assert files_in(workshop) == ["van.toml"]


@pytest.fixture
def without_links(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a memory stick: a file has one name."""

    def refused(source: Path, target: Path) -> None:
        if target.exists():
            raise FileExistsError(errno.EEXIST, "File exists")
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr("os.link", refused)


@pytest.mark.usefixtures("without_links")
def test_a_drive_without_hard_links_takes_files_too(workshop: Workshop, client: TestClient) -> None:
    before = (workshop.folder.path / "van.toml").read_bytes()
    assert put(client, "van.toml", ROADSTER)[1] == "/car/van-2"
    assert (workshop.folder.path / "van-2.toml").read_bytes() == ROADSTER
    assert (workshop.folder.path / "van.toml").read_bytes() == before
    assert files_in(workshop) == ["van-2.toml", "van.toml"]


@pytest.mark.usefixtures("without_links")
def test_a_drive_without_hard_links_that_is_full_keeps_no_half_file(
    workshop: Workshop, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = iter([None, OSError(errno.ENOSPC, "No space left on device")])

    def full_at_last(*_: object) -> None:
        if error := next(calls):
            raise error

    monkeypatch.setattr("os.fsync", full_at_last)
    status, _, text = put(client, "roadster.toml", ROADSTER)
    assert status == 400 and "cannot be written to (No space left on device)" in text
    assert files_in(workshop) == ["van.toml"]


def test_many_at_once_each_find_their_place(workshop: Workshop) -> None:
    """Eight contents under one name at the same moment, each sent twice: all eight are there, once."""
    contents = [ROADSTER + f"# copy {number % 8}\n".encode() for number in range(16)]
    ready = threading.Barrier(len(contents))

    def add(content: bytes) -> str:
        ready.wait()
        return workshop.folder.add("car.toml", content).name

    with ThreadPoolExecutor(len(contents)) as threads:
        names = list(threads.map(add, contents))
    assert files_in(workshop) == sorted(["van.toml", *(f"{name}.toml" for name in set(names))])
    for name, content in zip(names, contents, strict=True):
        assert (workshop.folder.path / f"{name}.toml").read_bytes() == content
    assert len(set(names)) == 8


MARKUP = "<script>alert(1)</script>\\\"'><img src=x onerror=alert(2)>{{ 7*7 }}"


def test_markup_in_a_file_stays_text(workshop: Workshop, client: TestClient) -> None:
    """In the vehicle's name, its note, a part's name that a message repeats, and the name of the file."""
    hostile = ROADSTER.replace(b"Club roadster", MARKUP.encode()).replace(b"Light two-seater", MARKUP.encode())
    status, path, text = put(client, "<img src=x onerror=alert(3)>.toml", hostile)
    assert status == 200 and path == "/car/img-src-x-onerror-alert-3"
    faulty = hostile.replace(b'nozzle = "straight-0.65"', b'nozzle = "<svg onload=alert(4)>"')
    _, _, refused = put(client, "<img src=x>.toml", faulty)
    (workshop.folder.path / "<b onclick=alert(5)>\"'.toml").write_bytes(faulty)
    (workshop.folder.path / "%3Cb%3E.toml").write_bytes(hostile + b"#")
    pages = [text, refused, *(client.get(address).text for address in ("/", "/order", path, f"{path}/card"))]
    drawn = client.get(f"{path}/picture/lift/front")
    pages += [drawn.text, client.get("/car/%253Cb%253E").text, client.get(f"{path}?pin=<script>=<script>").text]
    for page in pages:
        assert not re.search(r"<script>alert|<img src=x|<svg onload|<b on|<script>=", page), page[:300]
        assert "49" not in re.findall(r"onerror=alert\(2\)&gt;(.{0,12})", page)
    assert "&lt;script&gt;" in text and "&lt;svg onload" in refused
    picture = client.get(f"{path}/picture/lift/front/drawn.svg").text
    assert "<script" not in picture and "onerror=alert(2)>" not in picture


@given(st.text(max_size=100))
def test_a_safe_name_is_safe(name: str) -> None:
    stem = safe_stem(name + ".toml")
    assert re.fullmatch(r"[\w-]{1,70}", stem) and not stem.startswith(("-", "_"))
    assert stem.lower() not in ("con", "nul", "aux", "prn", "com1", "lpt1")
    assert Path("/cars", stem).parent == Path("/cars")


def test_a_file_that_changes_is_read_again(workshop: Workshop, client: TestClient) -> None:
    assert "Marshals" in client.get("/car/van").text
    (workshop.folder.path / "van.toml").write_bytes(ROADSTER)
    assert "Club roadster" in client.get("/car/van").text
    (workshop.folder.path / "van.toml").unlink()
    assert client.get("/car/van").status_code == 404


def test_a_folder_that_is_none_is_refused(tmp_path: Path, workshop: Workshop) -> None:
    with pytest.raises(BadInput, match="is no folder"):
        Folder(tmp_path / "none", workshop.catalog)


def test_two_cars_of_one_name_are_told_that_they_share_their_runs(workshop: Workshop, client: TestClient) -> None:
    assert "share theirs" not in client.get("/").text
    (workshop.folder.path / "twin.toml").write_bytes((workshop.folder.path / "van.toml").read_bytes() + b"\n")
    assert "More than one file is called “Marshals' van”." in unescape(client.get("/").text)
