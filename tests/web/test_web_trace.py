"""A mixture trace sent with a run: in the book as the command has it, refused in words beside its field, sent once."""

from pathlib import Path

import pytest
from test_web_bench import text_of
from trace_making import file_of, logged
from web_page import OWN_FORM, browser, form_of, page_of, workshop_in

from configurator.learning.trace.trace import measure_for_case
from configurator.web.guard import MOST_BODY_BYTES
from configurator.web.workshop import Workshop

RUN = "/car/roadster/run"


@pytest.fixture
def written(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars", "roadster")


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return file_of(tmp_path_factory.mktemp("logger") / "second gear.csv", logged("roadster"))


def test_a_trace_is_measured_as_the_command_measures_it_and_sent_once(written: Workshop, log: Path) -> None:
    client = browser(page_of(written), follow=False)
    form = form_of(client) | {"felt": "stumble", "trace_lag": "80"}
    answers = [
        client.post(RUN, headers=OWN_FORM, data=form, files={"trace": (log.name, log.read_bytes(), "text/csv")})
        for _ in range(2)
    ]
    assert {answer.headers["location"] for answer in answers} == {"/car/roadster?recorded=1"}
    (run,) = written.records_of("Club roadster").runs
    measured = measure_for_case(written.setting("roadster").case, log, lag_ms=80.0)
    assert run.trace == measured.spells
    told = text_of(client.get("/car/roadster?recorded=1").text)
    assert f"lean {measured.spells.hole_ms:.0f} ms" in told
    other = file_of(log.with_name("other.csv"), logged("roadster", seed=2)).read_bytes()
    client.post(RUN, headers=OWN_FORM, data=form, files={"trace": (log.name, other, "text/csv")})
    assert len(written.records_of("Club roadster").runs) == 2, "another file is another run"


def test_what_to_mind_about_a_trace_is_told_once_it_is_in_the_book(written: Workshop, log: Path) -> None:
    client = browser(page_of(written))
    form = form_of(client) | {"felt": "stumble"}
    shown = client.post(RUN, headers=OWN_FORM, data=form, files={"trace": ("a.csv", log.read_bytes())})
    notes = measure_for_case(written.setting("roadster").case, log).notes
    assert notes and all(note in text_of(shown.text) for note in notes)


@pytest.mark.parametrize(
    ("content", "said", "says"),
    [
        (b"time,throttle\n1,2\n", {}, "Mixture trace, row 1: no column for the mixture among time, throttle"),
        (b"", {}, "Mixture trace: "),
        (b"\x00\x01\x02", {}, "Mixture trace"),
        (None, {"trace_lag": "slow"}, "Lag of the mixture sensor, slow: is no time"),
        (None, {"trace_lag": "9000"}, "Lag of the mixture sensor: is 9000 ms"),
        (None, {"trace_column": "phi"}, "Which column is which, phi: is not of the form"),
        (None, {"trace_column": "phi=nothing such"}, "Mixture trace, column for phi, phi=nothing such"),
    ],
)  # fmt: skip
def test_faults_of_the_file_stand_in_words_beside_the_field(
    written: Workshop, log: Path, content: bytes | None, said: dict[str, str], says: str
) -> None:
    client = browser(page_of(written))
    sent = {"trace": ("log.csv", log.read_bytes() if content is None else content, "text/csv")}
    answer = client.post(
        RUN, headers=OWN_FORM, data=form_of(client) | {"felt": "dull", "note": "up"} | said, files=sent
    )
    beside = text_of(answer.text.partition('id="trace-of-it"')[2].partition("</details>")[0])
    assert answer.status_code == 400 and says in beside and "Choose the file again" in beside
    assert "/tmp" not in answer.text and "--" not in text_of(answer.text).partition("petrol")[0]
    assert 'id="trace-of-it" open' in answer.text and 'value="up"' in answer.text
    assert all(word in answer.text for word in said.values()), "what was typed stays"
    assert not (written.folder.path / "book.sqlite").exists()


@pytest.mark.parametrize("field", ["trace_lag", "trace_column"])
def test_what_speaks_of_a_file_needs_one(written: Workshop, field: str) -> None:
    client = browser(page_of(written))
    answer = client.post(RUN, headers=OWN_FORM, data=form_of(client) | {"felt": "dull", field: "80"})
    assert answer.status_code == 400 and "goes with a file only; expected a file as well" in text_of(answer.text)


def test_a_file_has_the_limit_of_other_uploads(written: Workshop) -> None:
    client = browser(page_of(written))
    sent = {"trace": ("log.csv", b"1" * MOST_BODY_BYTES, "text/csv")}
    answer = client.post(RUN, headers=OWN_FORM, data=form_of(client) | {"felt": "dull"}, files=sent)
    assert answer.status_code == 413 and "the most that is taken in one piece" in answer.text
    assert not (written.folder.path / "book.sqlite").exists()
