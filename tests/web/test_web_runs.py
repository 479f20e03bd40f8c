"""The form for a run: it goes into the book once, and what cannot be meant is told beside all that was filled in."""

import re
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_web_bench import text_of
from web_page import OWN_FORM, browser, form_of, page_of, workshop_in

from configurator.book.book import open_book
from configurator.book.car_records import CarRecords
from configurator.book.fitting import fitting_of
from configurator.book.records import Trial
from configurator.slots.wishes import chosen_parts
from configurator.web import runs
from configurator.web.pages import LABELS
from configurator.web.workshop import Workshop


@pytest.fixture
def written(tmp_path: Path) -> Workshop:
    """A workshop with a book of its own."""
    return workshop_in(tmp_path / "cars", "roadster")


def runs_in(workshop: Workshop) -> list[Trial]:
    return list(workshop.records_of("Club roadster").runs)


def test_a_run_goes_into_the_book_as_the_command_line_puts_it(written: Workshop) -> None:
    client = browser(page_of(written), follow=False)
    form = form_of(client, "/car/roadster/run?pin=front.nozzle%3Dstraight-0.85") | {
        "felt": "smoke", "strength": "faint", "air_temperature": "18,5", "altitude": "", "pressure": "99",
        "fuel": "petrol", "clean_after": "250", "when": "2026-05-02 10:15Z", "note": " in second ", "cold": "yes",
    }  # fmt: skip
    answer = client.post("/car/roadster/run", headers=OWN_FORM, data=form)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/car/roadster?recorded=1"
    (run,) = runs_in(written)
    assert run.felt is not None and (run.felt.word, run.felt.strength) == ("smoke", "faint")
    assert run.codes["front.nozzle"].startswith("straight-0.85")
    assert (run.note, run.clean_after_ms) == ("in second", 250)
    day = run.conditions
    assert (day.air_temperature_c, day.altitude_m, day.air_pressure_kpa, day.warm) == (18.5, None, 99, False)
    assert f"{run.at:%Y-%m-%d %H:%M:%S}" == "2026-05-02 10:15:00"
    page = text_of(client.get(answer.headers["location"]).text)
    assert "Run 1 is in the book." in page and "The engine was cold" in page and "sagged in smoke, faint" in page


def test_a_double_click_or_a_reload_records_a_run_once(written: Workshop) -> None:
    client = browser(page_of(written), follow=False)
    form = form_of(client) | {"felt": "stumble"}
    with ThreadPoolExecutor(4) as threads:
        answers = list(threads.map(lambda _: client.post("/car/roadster/run", headers=OWN_FORM, data=form), range(4)))
    assert {answer.headers["location"] for answer in answers} == {"/car/roadster?recorded=1"}
    assert client.post("/car/roadster/run", headers=OWN_FORM, data=form).status_code == 303
    given = form | {"when": "2026-05-02 10:15"}
    assert {client.post("/car/roadster/run", headers=OWN_FORM, data=given).headers["location"] for _ in "12"} == {
        "/car/roadster?recorded=2"
    }
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "stumble"})
    assert [run.number for run in runs_in(written)] == [1, 2, 3], "a new form is a new run, though it says the same"


def test_two_tabs_and_a_terminal_that_write_at_once_lose_nothing(written: Workshop) -> None:
    first, second = (browser(page_of(written), follow=False) for _ in "12")
    forms = [form_of(tab) | {"felt": "stumble", "note": f"run {n}"} for n in range(8) for tab in (first, second)]
    ready = threading.Barrier(len(forms) + 1)

    def send(form: dict[str, str | list[str]]) -> int:
        ready.wait()
        tab = first if forms.index(form) % 2 else second
        return tab.post("/car/roadster/run", headers=OWN_FORM, data=form).status_code

    def shelve() -> None:
        ready.wait()
        with open_book(written.book) as book:
            for _ in range(8):
                book.move_stock("straight-0.80", 1, "bought")

    with ThreadPoolExecutor(len(forms) + 1) as threads:
        shelved = threads.submit(shelve)
        assert list(threads.map(send, forms)) == [303] * len(forms)
        shelved.result()
    assert sorted(run.note for run in runs_in(written)) == sorted(f"run {n}" for n in range(8) for _ in "12")
    with open_book(written.book) as book:
        assert book.stock() == {"straight-0.80": 8}


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"felt": ""}, "How it pulled: nothing is chosen"),
        ({"felt": "itches"}, "How it pulled, itches: is no symptom"),
        ({"felt": "clean", "strength": "very"}, "How strongly: found 'very'"),
        ({"felt": "clean", "air_temperature": "warm"}, "Air at the carburettor: found 'warm': not a number with"),
        ({"felt": "clean", "air_temperature": "400"}, "Air at the carburettor: found '400'"),
        ({"felt": "clean", "altitude": "nan"}, "Height above the sea: found 'nan'"),
        ({"felt": "clean", "pressure": "3"}, "Air pressure where the car is: found '3'"),
        ({"felt": "clean", "fuel": "x" * 81}, "Fuel in the tank: found"),
        ({"felt": "clean", "clean_after": "-1"}, "Foot down to a clean pull: found '-1'"),
        ({"felt": "clean", "key": ""}, "What was sent: comes from no form of this page"),
        ({"felt": "clean", "when": "yesterday"}, "When, yesterday: is no time"),
        ({"felt": "clean", "when": "2999-01-01 10:00"}, "When, 2999-01-01 10:00: is still to come"),
        ({"felt": "clean", "note": "x" * 2001}, "Note: found"),
        ({"felt": "clean", "pin": ["front.nozzle=none-such"]}, "nothing in the catalogue"),
    ],
)  # fmt: skip
def test_a_run_that_cannot_be_meant_is_refused_and_no_book_is_made(
    written: Workshop, said: dict[str, str | list[str]], says: str
) -> None:
    client = browser(page_of(written))
    answer = client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"strength": ""} | said)
    text = text_of(answer.text)
    assert answer.status_code == 400 and says in text
    assert "pin" in said or not re.search(r"(?<!\w)--\w|trial:", text), "words of the command line"
    assert not (written.folder.path / "book.sqlite").exists()


def test_a_refused_run_leaves_the_form_as_it_was_filled_in(written: Workshop) -> None:
    client = browser(page_of(written))
    form = form_of(client, "/car/roadster/run?pin=front.nozzle%3Dstraight-0.85") | {
        "felt": "smoke", "strength": "faint", "air_temperature": "18,5", "altitude": "high", "pressure": "99",
        "fuel": 'pump "95"', "clean_after": "250", "when": "2026-05-02 10:15Z",
        "note": "up <b>hill</b>", "cold": "yes", "moment": "later", "trace_lag": "",
    }  # fmt: skip
    answer = client.post("/car/roadster/run", headers=OWN_FORM, data=form)
    assert answer.status_code == 400 and "Height above the sea: found 'high': not a number" in text_of(answer.text)
    assert 'id="more-of-it" open>' in answer.text, "what is to be mended is not folded away"
    again = filled_in(answer.text)
    assert again.pop("key") != form.pop("key")
    assert again == form
    mended = form_of(client) | again | {"altitude": "120"}
    assert client.post("/car/roadster/run", headers=OWN_FORM, data=mended).is_success
    assert [run.note for run in runs_in(written)] == ["up <b>hill</b>"]


def filled_in(html: str) -> dict[str, str | list[str]]:
    """What a browser would send of the form for a run as it stands in a page."""
    form = html.partition('<form id="run"')[2].partition("</form>")[0]
    sent: dict[str, str | list[str]] = {"pin": []}
    for tag in re.findall(r'<input (?=[^>]* name=)(?![^>]*type="file")[^>]*>', form):
        name, value = (unescape(re.search(rf' {key}="([^"]*)"', tag)[1]) for key in ("name", "value"))  # type: ignore[index]
        if name == "pin":
            sent["pin"] = [*sent["pin"], value]
        elif not re.search('type="(radio|checkbox)"', tag) or " checked" in tag:
            sent[name] = value
    return sent


def test_every_name_in_a_message_is_a_label_of_the_page(written: Workshop) -> None:
    client = browser(page_of(written))
    pages = client.get("/car/roadster/run").text + client.get("/shelf").text
    assert [label for label in LABELS.values() if label not in pages] == [
        "How strongly", "When it was felt", "Note", "Workshop book", "What is done",
    ]  # fmt: skip


def test_a_run_without_a_time_is_dated_when_it_arrives(written: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    later = datetime.now(UTC) + timedelta(hours=3)

    class Clock(datetime):
        @classmethod
        def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
            return later

    client = browser(page_of(written))
    form = form_of(client) | {"felt": "stumble"}
    monkeypatch.setattr(runs, "datetime", Clock)
    assert client.post("/car/roadster/run", headers=OWN_FORM, data=form).is_success
    assert [run.at for run in runs_in(written)] == [later]


def test_two_pages_record_two_runs_though_they_say_the_same(written: Workshop) -> None:
    client = browser(page_of(written))
    for form in [form_of(client) | {"felt": "stumble", "when": "2026-05-02 10:15Z"} for _ in "12"]:
        client.post("/car/roadster/run", headers=OWN_FORM, data=form)
    first, second = runs_in(written)
    assert first.at != second.at and f"{first.at:%H:%M:%S}" == f"{second.at:%H:%M:%S}" == "10:15:00"


def fitted_on(client: TestClient) -> str:
    """What the page of a car says to be its nozzle."""
    html = client.get("/car/roadster").text.partition('id="fitted-title"')[2]
    return text_of(html.partition("</li>")[0])


def test_a_run_tells_what_is_in_the_car(written: Workshop) -> None:
    """After a run with other parts, after one that was drilled for it, and after what was told beside the page."""
    client = browser(page_of(written), follow=False)
    assert "straight-0.65" in fitted_on(client)
    other = "/car/roadster/run?pin=front.nozzle%3Dstraight-0.85"
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client, other) | {"felt": "stumble"})
    assert "straight-0.85" in fitted_on(client) and "run 1, today" in fitted_on(client)
    drilled = form_of(client, "/car/roadster/run?pin=front.nozzle%3Dredrill%3A0.9mm") | {"felt": "dull"}
    sent = [client.post("/car/roadster/run", headers=OWN_FORM, data=drilled) for _ in range(2)]
    assert [answer.status_code for answer in sent] == [303, 303] and len(runs_in(written)) == 2, "sent twice, kept once"
    assert client.get(sent[0].headers["location"]).status_code == 200 and "straight nozzle" in fitted_on(client)
    case = written.setting("roadster").case
    told = fitting_of(case, datetime.now(UTC), chosen_parts(case.options, ["front.nozzle=straight-0.75"]), {}, "")
    with open_book(written.book) as book:
        book.add_fitting(told)
    assert "straight-0.75" in fitted_on(client)


def test_a_run_that_comes_in_while_the_book_is_read_is_not_half_known(
    written: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is known and the runs it is known by are of one reading."""
    client = browser(page_of(written))
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "stumble"})
    read = Workshop.records_of

    def read_just_before_another(workshop: Workshop, vehicle: str) -> CarRecords:
        found = read(workshop, vehicle)
        with open_book(workshop.book) as book:
            book.add_trial(found.runs[0].model_copy(update={"number": None}))
        return found

    monkeypatch.setattr(Workshop, "records_of", read_just_before_another)
    anew = Workshop(written.folder, written.catalog, written.book)
    setting = anew.setting("roadster")
    assert setting.known.belief is not None and setting.known.belief.runs == len(setting.runs) == 1
    assert setting.known.says == "by 1 run"
    assert anew.setting("roadster").known.says == "by 2 runs"


def test_when_it_was_felt_goes_into_the_book_where_it_says_something(written: Workshop) -> None:
    client = browser(page_of(written), follow=False)
    for felt, moment in (("stumble", "later"), ("stumble", ""), ("flat", "at-once"), ("clean", "both")):
        data = form_of(client) | {"felt": felt, "moment": moment}
        where = client.post("/car/roadster/run", headers=OWN_FORM, data=data).headers["location"]
        open_ = felt == "stumble" and not moment
        assert ("both are weighed" in text_of(client.get(where).text)) is open_
    assert [run.felt and run.felt.moment for run in runs_in(written)] == ["later", None, None, None]
    refused = client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "flat", "moment": "x"})
    assert refused.status_code == 400 and "When it was felt: found 'x'" in text_of(refused.text)


def test_a_run_kept_on_a_phone_is_of_when_it_was_typed(written: Workshop) -> None:
    """Its clock may be ahead, and what it says may be no time at all."""
    client, now = browser(page_of(written)), datetime.now(UTC)
    typed = now - timedelta(hours=2)
    for at in (typed, now + timedelta(days=3)):
        data = form_of(client) | {"felt": "stumble", "typed_at": str(int(at.timestamp() * 1000))}
        assert client.post("/car/roadster/run", headers=OWN_FORM, data=data).is_success
    for nonsense in ("9" * 14, "-1", "1_000", "٣", "nan"):
        data = form_of(client) | {"felt": "stumble", "typed_at": nonsense}
        assert client.post("/car/roadster/run", headers=OWN_FORM, data=data).is_success
    first, *others = runs_in(written)
    assert abs(first.at - typed) < timedelta(seconds=1)
    assert all(timedelta(0) <= datetime.now(UTC) - run.at < timedelta(minutes=5) for run in others)


def test_a_form_gone_back_to_is_another_run_once_it_says_something_else(written: Workshop) -> None:
    client = browser(page_of(written))
    form = form_of(client)
    for felt in ("stumble", "clean", "stumble"):
        client.post("/car/roadster/run", headers=OWN_FORM, data=form | {"felt": felt})
    assert [run.felt and run.felt.word for run in runs_in(written)] == ["stumble", "clean"]


def test_a_run_sent_again_after_a_new_start_is_still_the_same(written: Workshop) -> None:
    form = form_of(browser(page_of(written))) | {"felt": "stumble"}
    for _ in range(2):
        anew = Workshop(written.folder, written.catalog, written.book)
        assert browser(page_of(anew)).post("/car/roadster/run", headers=OWN_FORM, data=form).is_success
    assert len(runs_in(written)) == 1


def test_a_run_is_taken_back_and_another_cars_is_not(written: Workshop) -> None:
    client = browser(page_of(written))
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "stumble"})
    with open_book(written.book) as book:
        book.add_trial(runs_in(written)[0].model_copy(update={"number": None, "vehicle": "Another"}))
    refused = client.post("/car/roadster/run/2/undo", headers=OWN_FORM)
    assert refused.status_code == 400 and "run 2: is none of this car that counts" in text_of(refused.text)
    answer = client.post("/car/roadster/run/1/undo", headers=OWN_FORM)
    assert answer.is_success and not runs_in(written) and "None yet" in text_of(answer.text)
    assert client.post("/car/roadster/run/1/undo", headers=OWN_FORM).status_code == 400
    with open_book(written.book) as book:
        assert len(book.trials("Another")) == 1
