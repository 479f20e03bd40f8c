"""The page of a car and the first page: what the commands judge is what they show, quickly, however much there is."""

import re
import time
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_web_bench import text_of
from web_page import EXAMPLES, OWN_FORM, browser, form_of, page_of, workshop_in

from configurator.advice.next_step import what_next
from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import proposal_of
from configurator.book.book import open_book
from configurator.book.records import Conditions, Felt, trial_of
from configurator.learning.as_known import Known, as_known
from configurator.reports import ProposeReport
from configurator.slots.wishes import read_wishes
from configurator.web import car as car_module
from configurator.web import judged as judged_module
from configurator.web.workshop import Workshop

ROADSTER = (EXAMPLES / "roadster.toml").read_text(encoding="utf-8")


@pytest.fixture
def written(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars", "roadster")


def hidden(html: str, action: str) -> dict[str, str | list[str]]:
    """The hidden fields of a form of a page."""
    form = html.partition(f'action="{action}"')[2].partition("</form>")[0]
    fields = [(name, unescape(value)) for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', form)]
    return dict(fields) | {"pin": [value for name, value in fields if name == "pin"]}


def test_the_step_is_that_of_the_command(written: Workshop) -> None:
    client = browser(page_of(written))
    assert "Working out what to try next" in client.get("/car/roadster").text
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "stumble"})
    html = client.get("/car/roadster/judged").text
    step = what_next(as_known(written.setting("roadster").now.filed, written.book))
    named = html.partition('<ul class="put-in">')[2].partition("</ul>")[0]
    assert re.findall(r"<strong>(.*?)</strong>", named) == [change.to for change in step.changes]
    assert "Hesitated in run 1." in html and "Working out" not in html
    assert client.get("/car/roadster").text.count('id="take"') == bool(step.changes), "kept, once it is worked out"


def test_where_the_model_is_at_a_loss_a_fault_elsewhere_comes_first(tmp_path: Path) -> None:
    workshop = workshop_in(tmp_path / "cars", "hill-climber")
    client, car = browser(page_of(workshop)), "/car/hill-climber"
    for then in ("Run it once more as it is.", "Then: a "):
        client.post(f"{car}/run", headers=OWN_FORM, data=form_of(client, f"{car}/run") | {"felt": "popback"})
        sentence = text_of(client.get(f"{car}/judged").text.partition('class="sentence"')[2].partition("</p>")[0])
        assert f"Look for a fault elsewhere first (float level, ignition, air leak). {then}" in sentence


def test_a_step_taken_is_fitted_once_and_its_card_is_of_the_car_before(written: Workshop) -> None:
    client = browser(page_of(written), follow=False)
    html = client.get("/car/roadster/judged").text
    step = what_next(as_known(written.setting("roadster").now.filed, written.book))
    form = hidden(html, "/car/roadster/fit")
    answers = [client.post("/car/roadster/fit", headers=OWN_FORM, data=form) for _ in range(2)]
    assert {answer.headers["location"] for answer in answers} == {"/car/roadster/card?entry=1"}
    (told,) = written.records_of("Club roadster").fittings
    assert all(told.codes[change.slot] == change.to for change in step.changes)
    card = client.get("/car/roadster/card?entry=1").text
    assert all(change.code in card for change in step.changes if change.code) and "straight-0.65" in card
    assert "nothing need change" not in text_of(card)
    page = client.get("/car/roadster").text
    assert all(change.to in page for change in step.changes) and "The job card of entry 1" in page
    assert client.post("/car/roadster/fit/1/undo", headers=OWN_FORM).status_code == 303
    assert "straight-0.65" in client.get("/car/roadster").text and "entry 1" not in client.get("/car/roadster").text
    assert client.get("/car/roadster/card?entry=1").status_code == 404


def test_the_first_page_never_searches(written: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    client = browser(page_of(written))
    assert "Not tried yet" in client.get("/").text
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "stumble"})
    assert "Hesitated" in client.get("/").text and "Next:" not in client.get("/").text
    client.get("/car/roadster/judged")
    monkeypatch.setattr(judged_module, "what_next", lambda *asked: pytest.fail("a search for the first page"))
    assert "Next: 0." in client.get("/").text, "the line of the commands, once it was worked out"
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "clean"})
    text = client.get("/").text
    assert "Pulled cleanly" in text and "Next:" not in text and "2 runs; pulled cleanly, today" in text


def test_sixty_cars_are_a_short_page_with_a_search_newest_work_first(written: Workshop) -> None:
    for number in range(60):
        text = ROADSTER.replace("Club roadster", f"Car {number:02}")
        (written.folder.path / f"car-{number:02}.toml").write_text(text, encoding="utf-8")
    client = browser(page_of(written))
    case = written.setting("roadster").case
    with open_book(written.book) as book:
        for number in (41, 7):
            at = datetime(2026, 5, 2, 10, tzinfo=UTC) + timedelta(minutes=number)
            run = trial_of(case, at, Felt(word="stumble"), Conditions())
            book.add_trial(run.model_copy(update={"vehicle": f"Car {number:02}"}))
    client.get("/")
    began = time.perf_counter()
    html = client.get("/").text
    assert time.perf_counter() - began < 2.0
    names = re.findall(r"<strong>(.*?)</strong>", html)
    assert names[:2] == ["Car 41", "Car 07"] and len(names) == 20 and "41 more, with older work" in html
    assert len(re.findall("<strong>", client.get("/?all=yes").text)) == 61
    found = client.get("/?find=CAR 3").text
    assert re.findall(r"<strong>(.*?)</strong>", found) == [f"Car {number}" for number in range(30, 40)]
    assert "No car is called that" in client.get("/?find=zebra").text


def test_few_cars_have_no_search(written: Workshop) -> None:
    assert 'type="search"' not in browser(page_of(written)).get("/").text


def test_a_thousand_runs_stay_usable(written: Workshop) -> None:
    case = written.setting("roadster").case
    begin = datetime(2024, 1, 1, tzinfo=UTC)
    runs = [
        trial_of(
            case, begin + timedelta(hours=n), Felt(word=("stumble", "dull", "clean")[n % 3]), Conditions(), note=f"n{n}"
        )
        for n in range(1000)
    ]
    with open_book(written.book) as book:
        book.add_new_trials(runs)
    client = browser(page_of(written))
    first = client.get("/car/roadster").text
    assert "992 earlier runs" in first and "n999" in first and "n991" not in first
    began = time.perf_counter()
    assert client.get("/car/roadster").status_code == 200
    assert time.perf_counter() - began < 1.0, "what was read once is kept"
    assert "n0" in client.get("/car/roadster/runs").text


@pytest.mark.parametrize("below", ["", "/judged", "/run", "/parts", "/runs", "/ways"])
def test_no_word_of_the_model_shows(written: Workshop, below: str) -> None:
    client = browser(page_of(written))
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "stumble"})
    text = text_of(client.get(f"/car/roadster{below}").text)
    assert not re.search(r"demand factor|belie[fv]|\bln\b|constraint|front\.nozzle:|solver", text), text


def test_an_undo_of_what_is_not_there_is_told(client_of: TestClient) -> None:
    assert client_of.post("/car/roadster/run/1/undo", headers=OWN_FORM).status_code == 404
    assert client_of.post("/car/roadster/fit/1/undo", headers=OWN_FORM).status_code == 404
    assert client_of.get("/car/roadster/card?entry=9").status_code == 404
    assert client_of.get("/car/roadster/card?entry=1_0").status_code == 200, "no entry is meant: what is fitted"


@pytest.fixture
def client_of(written: Workshop) -> TestClient:
    return browser(page_of(written))


@pytest.mark.parametrize("path", ["/nothing", "/car/nobody", "/car/roadster/parts?pin=nonsense"])
def test_what_went_wrong_has_a_title_in_words(client_of: TestClient, path: str) -> None:
    title = re.search("<h1>(.*?)</h1>", client_of.get(path).text)
    assert title is not None and title[1] in ("Not there", "That cannot be meant")


def test_where_nothing_fits_other_ways_say_why(written: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A nozzle kept that is too small: nothing that fits cures it."""

    def with_wish(known: Known, asked: ProposalRequest) -> ProposeReport:
        return proposal_of(known, ProposalRequest(read_wishes(known.case.options, ["front.nozzle"], [], [])))

    monkeypatch.setattr(car_module, "proposal_of", with_wish)
    text = text_of(browser(page_of(written)).get("/car/roadster/ways").text)
    assert "what fits in the catalogue will not cure" in text and "A way out: " in text
    assert "front.nozzle" not in text
