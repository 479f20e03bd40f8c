"""A recording of the pull sent with a run: in the book as the command has it, drawn, refused beside its field."""

from pathlib import Path

import pytest
from test_web_bench import text_of
from trace_making import file_of, logged
from web_page import EXAMPLES, OWN_FORM, browser, form_of, page_of, workshop_in

from configurator.learning.recording.recording import measure_pull_for_case
from configurator.web.workshop import Workshop

RUN = "/car/roadster/run"
RECORDED = EXAMPLES / "roadster-pull.csv"
LINES = RECORDED.read_bytes().splitlines(keepends=True)


@pytest.fixture
def written(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars", "roadster")


def test_a_recording_is_measured_as_the_command_measures_it_and_needs_no_feeling(written: Workshop) -> None:
    client = browser(page_of(written), follow=False)
    form = form_of(client) | {"strength": "clear", "moment": "at-once"}
    sent = {"pull": (RECORDED.name, RECORDED.read_bytes(), "text/csv")}
    answers = [client.post(RUN, headers=OWN_FORM, data=form, files=sent) for _ in range(2)]
    assert {answer.headers["location"] for answer in answers} == {"/car/roadster?recorded=1"}
    (run,) = written.records_of("Club roadster").runs
    assert run.felt is None
    assert run.pull == measure_pull_for_case(written.setting("roadster").case, RECORDED, {}).pull
    shown = client.get("/car/roadster?recorded=1").text
    assert "Hesitates" in text_of(shown) and "tip-ins" in text_of(shown)
    assert shown.count('class="tip-in"') == len(run.pull.tip_ins) + 1  # and one in the key
    assert 'class="measured"' in shown and 'class="next"' not in shown.partition("</svg>")[0]
    judged = client.get("/car/roadster/judged?recorded=1").text
    changes = written.judged(written.setting("roadster")).report.changes
    assert ('class="next"' in judged.partition("</svg>")[0]) == bool(changes)


def test_trace_and_recording_of_one_run_are_both_taken(written: Workshop, tmp_path: Path) -> None:
    log = file_of(tmp_path / "log.csv", logged("roadster"))
    client = browser(page_of(written))
    sent = {"pull": ("pull.csv", RECORDED.read_bytes()), "trace": ("log.csv", log.read_bytes())}
    client.post(RUN, headers=OWN_FORM, data=form_of(client) | {"felt": "stumble"}, files=sent)
    (run,) = written.records_of("Club roadster").runs
    assert run.pull is not None and run.trace is not None and run.felt is not None


@pytest.mark.parametrize(
    ("content", "said", "says"),
    [
        (b"time,x\n1,2\n", {}, "Recording of the pull"),
        (b"", {}, "Recording of the pull"),
        (b"\x00\x01", {}, "Recording of the pull"),
        (b"".join(LINES[:200]), {}, "Recording of the pull"),
        (None, {"pull_column": "x"}, "Which column is which, x: is not of the form WHAT=NAME"),
        (None, {"pull_column": "x=nothing such"}, "Recording of the pull"),
    ],
)  # fmt: skip
def test_faults_of_a_recording_stand_beside_its_field(
    written: Workshop, content: bytes | None, said: dict[str, str], says: str
) -> None:
    client = browser(page_of(written))
    sent = {"pull": ("a.csv", RECORDED.read_bytes() if content is None else content, "text/csv")}
    form = form_of(client) | {"felt": "dull", "note": "up"} | said
    answer = client.post(RUN, headers=OWN_FORM, data=form, files=sent)
    beside = text_of(answer.text.partition('id="pull-of-it"')[2].partition("</details>")[0])
    assert answer.status_code == 400 and says in beside and "Choose the file again" in beside
    assert 'id="pull-of-it" open' in answer.text and 'id="trace-of-it" open' not in answer.text
    assert "/tmp" not in answer.text and not (written.folder.path / "book.sqlite").exists()


def test_without_a_recording_a_feeling_is_needed_and_columns_speak_of_a_file(written: Workshop) -> None:
    client = browser(page_of(written))
    answer = client.post(RUN, headers=OWN_FORM, data=form_of(client))
    assert answer.status_code == 400 and "nothing is chosen" in answer.text
    answer = client.post(RUN, headers=OWN_FORM, data=form_of(client) | {"felt": "dull", "pull_column": "x=a"})
    assert answer.status_code == 400 and "goes with a file only" in text_of(answer.text)


def test_the_page_that_measures_says_what_to_mind_first(written: Workshop) -> None:
    client = browser(page_of(written))
    shown = text_of(client.get("/car/roadster/measure").text)
    assert shown.index("Closed ground only") < shown.index("Start the recording")
    assert client.get("/car/nobody/measure").status_code == 404
