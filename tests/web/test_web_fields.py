"""What is typed or named in a field is read as it stands, and leads to no file that is not shown here."""

import secrets
from datetime import date, timedelta
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_page import CATALOG, EXAMPLES, OWN_FORM, browser, page_of, workshop_in

from configurator.book.book import open_book
from configurator.car.described import faults_of_answer
from configurator.car.questions import QUESTIONS
from configurator.web.folder import Folder
from configurator.web.workshop import Workshop

SOON = (date.today() + timedelta(days=7)).isoformat()
SECRET = "the strongbox opens with 7-3-9"
NOT_FIGURES = ("\u0669\u0660", "\uff19\uff10", "9_0", "1e1", "nan", "90\0", "0x5a", "+90")


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars", "van")


@pytest.fixture
def client(workshop: Workshop) -> TestClient:
    return browser(page_of(workshop))


@pytest.mark.parametrize("typed", NOT_FIGURES)
@pytest.mark.parametrize(("field", "says"), [("sure", "cannot be meant"), ("budget", "is no amount")])
def test_a_figure_of_an_order_is_plain(client: TestClient, typed: str, field: str, says: str) -> None:
    answer = client.get("/order/plan", params={"car": "van", "day:van": SOON, field: typed})
    assert answer.status_code == 400 and says in answer.text


@pytest.mark.parametrize("field", ["air_temperature", "altitude", "pressure", "clean_after", "when"])
@pytest.mark.parametrize("typed", ["\u0661\u0660", "1_0", "\uff11\uff10", "1\0"])
def test_a_figure_of_a_run_is_plain(client: TestClient, field: str, typed: str) -> None:
    words = {"felt": "stumble", "key": secrets.token_hex(16), field: typed}
    assert client.post("/car/van/run", data=words, headers=OWN_FORM).status_code == 400


@pytest.mark.parametrize("field", ["note", "fuel", "symptom", "pin"])
@pytest.mark.parametrize("typed", ["rich\0", "\0", "a\x1b[2Jb", "\x7f"])
def test_a_sign_that_nobody_sees_is_refused_in_words(
    workshop: Workshop, client: TestClient, field: str, typed: str
) -> None:
    """Not every database takes a NUL."""
    words = {"felt": "stumble", "key": secrets.token_hex(16), field: typed}
    answer = client.post("/car/van/run", data=words, headers=OWN_FORM)
    assert answer.status_code == 400 and "a sign that cannot be seen" in answer.text
    with open_book(workshop.book) as book:
        assert book.trials() == []


def test_several_lines_are_no_such_sign(client: TestClient) -> None:
    words = {"felt": "stumble", "key": secrets.token_hex(16), "note": "at the bridge\r\n\tand once more"}
    assert client.post("/car/van/run", data=words, headers=OWN_FORM).status_code == 200


@pytest.mark.parametrize("typed", ["\u0668\u0665\u0660", "8_50"])
def test_an_answer_about_a_car_is_a_plain_figure_too(typed: str) -> None:
    question = next(one for one in QUESTIONS if one.key == "idle_speed")
    assert faults_of_answer(question, {"idle_speed": typed}, CATALOG)


def meeting(file: str) -> str:
    return f'name = "One evening"\ntoday = {date.today()}\n\n[[vehicle]]\nfile = "{file}"\nday = {SOON}\n'


@pytest.mark.parametrize("way", ["../secret.toml", "{outside}", "link.toml", "below/../../secret.toml", "a\\u0000b"])
def test_an_order_shows_no_line_of_a_file_from_elsewhere(
    workshop: Workshop, client: TestClient, tmp_path: Path, way: str
) -> None:
    outside, cars = tmp_path / "secret.toml", workshop.folder.path
    outside.write_text(SECRET)
    (cars / "link.toml").symlink_to(outside)
    (cars / "below").mkdir()
    file = way.format(outside=outside)
    (cars / "evening.toml").write_text(meeting(file))
    answer = client.get("/order/plan", params={"workshop": "evening"})
    assert answer.status_code == 400 and "lies elsewhere" in answer.text
    assert "strongbox" not in answer.text and "7-3-9" not in answer.text


@pytest.mark.parametrize(
    "name", ["../secret", "below/../../secret", "/etc/passwd", "secret", "link", "out/secret", "\0"]
)
def test_no_name_of_a_workshop_file_leads_out_of_the_folder(
    workshop: Workshop, client: TestClient, tmp_path: Path, name: str
) -> None:
    (tmp_path / "beside").mkdir()
    for outside in (tmp_path / "secret.toml", tmp_path / "beside" / "secret.toml"):
        outside.write_text(meeting("van.toml") + f"# {SECRET}\n= {SECRET}")
    (workshop.folder.path / "link.toml").symlink_to(tmp_path / "secret.toml")
    (workshop.folder.path / "out").symlink_to(tmp_path / "beside")
    answer = client.get("/order/plan", params={"workshop": name})
    assert answer.status_code == 404 and "strongbox" not in answer.text


def test_cars_and_workshop_files_are_served_as_they_are_shipped(tmp_path: Path) -> None:
    shipped = Workshop(Folder(EXAMPLES, CATALOG), CATALOG, str(tmp_path / "book.sqlite"))
    listing, client = shipped.folder.listing(), browser(page_of(shipped))
    assert [filed.name for filed in listing.vehicles] == ["hill-climber", "roadster", "tow-truck", "van"]
    assert listing.workshops == ("workshop/one-evening", "workshop/spring-meeting") and not listing.broken
    assert 'value="workshop/one-evening"' in client.get("/order").text
    answer = client.get(
        "/order/plan", params={"workshop": "workshop/one-evening", "one_supplier": "y", "no_redrill": "y"}
    )
    assert answer.status_code == 200 and "Tarn Lane Garage, one evening" in unescape(answer.text)
