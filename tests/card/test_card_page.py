"""The job card as a page and as a print, and the command that writes it."""

import io
import re
import sys
from html.parser import HTMLParser
from importlib.abc import MetaPathFinder
from pathlib import Path
from typing import Any

import pypdf
import pytest
from card_making import CATALOG, EXAMPLES, NAMES, case_of, fitted_with, made_anew, proposed
from run_folder import once
from typer.testing import CliRunner

from configurator import cli
from configurator.advice.propose import ProposalRequest, propose
from configurator.car.vehicle import Vehicle
from configurator.card import Card
from configurator.cli.fields import as_option
from configurator.errors import BadInput, TipinError
from configurator.files.writing import write_whole
from configurator.judging.case import Case
from configurator.learning.as_known import known_by
from configurator.views.card import card_html, card_pdf, card_pictures, check_can_write

each_example = pytest.mark.parametrize("name", NAMES)

VOID = {"meta", "input", "br"}


class Reader(HTMLParser):
    """Checks that every element is closed in its place, and keeps what a page may refer to."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.references: list[str] = []
        self.unnamed: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.references += [f"{key}={value}" for key, value in attrs if key in ("src", "href", "xlink:href", "action")]
        if tag == "th" and "scope" not in given:
            self.unnamed.append(tag)
        if tag in ("input", "textarea") and not (given.get("aria-label") or "label" in self.open):
            self.unnamed.append(tag)
        if tag == "svg" and not given.get("aria-label"):
            self.unnamed.append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag, f"</{tag}> closes nothing"


@each_example
def test_the_page_is_whole_and_needs_nothing_beside_it(name: str) -> None:
    _, page = proposed(name)
    reader = Reader()
    reader.feed(page)
    assert not reader.open and not reader.unnamed
    assert all(reference.partition("=")[2].startswith("#") for reference in reader.references)
    lower = page.lower()
    assert "http" not in lower and "@import" not in lower and "<script" not in lower and "@page { size" not in lower
    assert all(target.startswith(("#", "data:")) for target in re.findall(r"url\(\s*[\"']?([^)]*)", lower))
    assert page.startswith("<!DOCTYPE html>") and '<html lang="en">' in page and "<h1>" in page


@pytest.mark.needs("pango")
def test_a_hostile_name_is_text_and_nothing_else() -> None:
    evil = "<script>alert(1)</script><img src=x>&\"'$x^2$ {{ 7*7 }} </style>"
    case = case_of("roadster")
    car: Vehicle = case.vehicle.model_copy(update={"name": evil})
    hostile = Case.of(car, CATALOG).with_linkage_set()
    card = fitted_with(hostile, "front.nozzle=aimed-0.72")
    page = card_html(card, card_pictures(hostile, case.as_fitted))
    reader = Reader()
    reader.feed(page)
    assert (not reader.open and not reader.references) or all("=#" in r for r in reader.references)
    assert "<script" not in page and "<img" not in page and "&lt;script&gt;" in page and "{{ 7*7 }}" in page
    assert page.count("</style>") == 1
    assert "{{ 7*7 }}" in text_of(card_pdf(page))


def printed(name: str, paper: str) -> bytes:
    """The print of an example's card, made once for all tests of a run."""
    return once(f"print of {name} on {paper}", lambda: card_pdf(proposed(name)[1], paper))


def text_of(pdf: bytes) -> str:
    """The text of a print, its lines put together; where one ends in a code, the code is whole again."""
    lines = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    return re.sub(r"(?<=\w)- (?=\w)", "-", " ".join(lines.split()))


@pytest.mark.needs("pango")
@each_example
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_print_has_at_most_two_pages_with_everything_on_them(name: str, paper: str) -> None:
    card, pdf = proposed(name)[0], printed(name, paper)
    read = pypdf.PdfReader(io.BytesIO(pdf))
    assert 1 <= len(read.pages) <= 2
    width_mm = float(read.pages[0].mediabox.width) / 72 * 25.4
    assert width_mm == pytest.approx(210 if paper == "a4" else 215.9, abs=0.5)
    text = text_of(pdf)
    assert card.vehicle in text and all(row.part in text for row in card.parts)
    assert all(line.code in text for line in card.gaskets)
    assert all(swap.to in text for f in card.after_feelings for move in f.moves for swap in move.swaps)


@pytest.mark.needs("pango")
def test_the_same_card_is_the_same_bytes() -> None:
    """All of it made anew, from the vehicle's file on."""
    known, (card, page) = known_by(case_of.__wrapped__("roadster"), []), proposed("roadster")
    assert made_anew(known, propose(known.case, ProposalRequest(), known)) == (card, page)
    assert card_pdf(page) == printed("roadster", "a4")


@pytest.mark.needs("pango")
def test_nothing_is_fetched(tmp_path: Path) -> None:
    beside = tmp_path / "beside.css"
    beside.write_text("body { display: none }", encoding="utf-8")
    card, page = proposed("roadster")
    link = f'<link rel="stylesheet" href="{beside.as_uri()}"></head>'
    pdf = card_pdf(page.replace("</head>", link))
    assert card.parts[0].part in text_of(pdf), "the style sheet beside it would have hidden everything"


class _Fails(MetaPathFinder):
    """Finds one library, to fail as it does where the system lacks what it is built on."""

    def find_spec(self, fullname: str, *_: Any, **__: Any) -> None:
        if fullname == "weasyprint":
            raise OSError("cannot load library 'libpango-1.0-0'")


def test_a_library_that_is_missing_is_named_with_its_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    card, page = proposed("roadster")
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "jinja2", None)
        with pytest.raises(TipinError, match=r"needs jinja2: pip install '.\[card\]'"):
            card_html(card)
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "weasyprint", None)
        with pytest.raises(TipinError, match=r"needs WeasyPrint: pip install '.\[card\]'"):
            card_pdf(page)
    with monkeypatch.context() as without:
        without.delitem(sys.modules, "weasyprint", raising=False)
        without.setattr(sys, "meta_path", [_Fails(), *sys.meta_path])
        with pytest.raises(TipinError, match=r"Pango library: on Debian, apt install libpango"):
            card_pdf(page)


def tipin(*words: str) -> Any:
    return CliRunner().invoke(cli.app, ["card", *words])


@pytest.mark.needs("pango")
def test_the_command_writes_a_page_and_a_print(tmp_path: Path) -> None:
    page, pdf = tmp_path / "card.html", tmp_path / "card.PDF"
    words = [str(EXAMPLES / "roadster.toml"), "--date", "2026-05-04"]
    done = tipin(*words, "-o", str(page), "--symptom", "stumble")
    assert done.exit_code == 0 and "Club roadster, Proposal 1: 2 changes" in done.output
    assert "a stumble that recovers" in page.read_text(encoding="utf-8") and "2026-05-04" in page.read_text("utf-8")
    done = tipin(*words, "-o", str(pdf), "--proposal", "2", "--json")
    card = Card.model_validate_json(done.output, strict=True)
    assert card.title.startswith("Proposal 2, ") and card.parts
    assert pdf.read_bytes().startswith(b"%PDF") and sorted(p.name for p in tmp_path.iterdir()) == [
        "card.PDF",
        "card.html",
    ]


def test_where_nothing_fits_there_is_no_card(tmp_path: Path) -> None:
    out = tmp_path / "card.html"
    done = tipin(str(EXAMPLES / "roadster.toml"), "--keep", "front", "-o", str(out))
    assert done.exit_code == 1 and not out.exists()
    assert "what fits in the catalogue will not cure" in done.output and "keep front" in done.output


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ["-o", "card.txt"],
            r"card.txt: cannot write a card into a '.txt' file; expected a name that ends in .html or",
        ),
        (["-o", "none/card.pdf"], r"none/card.pdf: its folder does not exist"),
        (["-o", "card.pdf", "--proposal", "9"], r"proposal 9: there is no such proposal; expected 1 to 3"),
        (["-o", "card.pdf", "--date", "May"], r"--date May: is no day; expected year, month and day: 2026-05-04"),
        (["-o", "card.pdf", "--with", "spacer=spacer-6", "--avoid", "redrill"], r"--avoid: goes with a proposal"),
        (["-o", "card.pdf", "--with", "spacer=spacer-6", "--proposal", "2"], r"--proposal: goes with a proposal"),
    ],
    ids=lambda words: " ".join(words) if isinstance(words, list) else None,
)
def test_bad_input_is_refused_in_words(words: list[str], says: str, tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.chdir(tmp_path)
    done = tipin(str(EXAMPLES / "roadster.toml"), *words)
    assert isinstance(done.exception, BadInput) and re.search(says, done.exception.told(as_option))
    assert not list(tmp_path.iterdir())


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    target = tmp_path / "card.pdf"
    write_whole(target, b"\x00\r\n\xff")
    assert target.read_bytes() == b"\x00\r\n\xff"
    with pytest.raises(BadInput, match="cannot be written"):
        write_whole(target, "\ud800")
    assert target.read_bytes() == b"\x00\r\n\xff" and [path.name for path in tmp_path.iterdir()] == ["card.pdf"]
    with pytest.raises(BadInput, match=r"ends in \.html or \.pdf"):
        check_can_write(tmp_path / "card")
