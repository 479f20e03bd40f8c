"""The job card as one page that needs nothing beside it, and as a PDF of it; jinja2 and WeasyPrint are loaded here."""

import io
import re
from collections.abc import Sequence
from contextlib import redirect_stdout
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from configurator.card import Card
from configurator.catalogue.settings import price_text
from configurator.errors import BadInput, Fault, TipinError
from configurator.judging.band import band_of
from configurator.judging.case import Case
from configurator.rules import WRONG
from configurator.slots.options import Choice
from configurator.units.showing import shown_value
from configurator.views.pictures import as_svg, says_of_shot, shot_picture
from configurator.views.tables import CAUTIONS, counted, wrapped

ENDINGS = (".html", ".pdf")
PAPERS = {"a4": "A4", "letter": "letter"}
MOST_PAGES = 2
PRINTS = ((9.5, 63), (9.5, 28), (8.75, 21), (8.0, 14), (7.5, 14), (7.0, 14))
"""Sizes of print [pt] and of the room for notes [mm]: the first that MOST_PAGES can hold is taken."""
INSTALL_CARD = "pip install '.[card]' in tipin's folder, into its environment"
PANGO = "it needs the Pango library: on Debian, apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"


def check_can_write(path: Path) -> None:
    """Refuse a file before the work: BadInput for another ending than .html or .pdf and for a missing folder,
    TipinError naming every library that it takes and that is not there."""
    if path.suffix.lower() not in ENDINGS:
        problem = f"cannot write a card into a '{path.suffix}' file"
        raise BadInput([Fault(str(path), "", problem, "a name that ends in .html or .pdf")])
    if not path.parent.is_dir():
        raise BadInput([Fault(str(path), "", "its folder does not exist", "a folder that is there")])
    needed = ["jinja2", "matplotlib", *(["weasyprint"] if path.suffix.lower() == ".pdf" else [])]
    missing = [name for name in needed if find_spec(name) is None]
    if missing:
        raise TipinError(f"a job card needs {' and '.join(missing)}: {INSTALL_CARD}")


def card_text(card: Card) -> str:
    """What the card is for, in a line or two."""
    total = card.totals
    price = price_text(total.price, total.currency)
    changes = f"{counted(total.changes, 'change')}, price {price}, about {total.labour_min} min"
    nothing = "no part is changed by it" if card.against or card.uncured else "nothing need change"
    lines = [f"{card.vehicle}, {card.title}: {changes if card.parts else nothing}"]
    for says, wrong in zip(WRONG.values(), (card.against, card.uncured), strict=True):
        if wrong:
            lines.append(f"But it {says}, which the card names:")
            lines += [wrapped(line, "    ", "  - ") for line in wrong]
    return "\n".join(lines)


def card_pictures(case: Case, choice: Choice) -> list[str]:
    """For each circuit the demand band with what a choice delivers into it, as SVG elements to stand in a page. Raises
    TipinError without matplotlib."""
    bands = [band_of(case, name, choice) for name in case.circuit_names]
    return [as_svg(shot_picture([band]), f"{band.circuit} circuit. {says_of_shot([band])}") for band in bands]


def card_html(card: Card, pictures: Sequence[str] = (), page: str = "") -> str:
    """The card as a page of HTML with its style and pictures inside. pictures : SVG elements, which are trusted. page :
    where the page of the car is served, for a card that is filled in there; nothing for one that stands by itself.

    Raises TipinError without jinja2.
    """
    try:
        from jinja2 import Environment, PackageLoader, StrictUndefined
        from markupsafe import Markup
    except ImportError:
        raise TipinError(f"a job card needs jinja2: {INSTALL_CARD}") from None
    environment = Environment(
        loader=PackageLoader("configurator.views"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, finalize=shown_value,
    )  # fmt: skip
    drawn = [Markup(_without_namespaces(picture)) for picture in pictures]
    return environment.get_template("card.html").render(
        card=card, cautions=CAUTIONS, pictures=drawn, price_text=price_text, page=page
    )


def _without_namespaces(svg: str) -> str:
    """An SVG element as HTML has it: the parser knows the namespaces, so the page names no address at all."""
    return re.sub(r' xmlns(:\w+)?="[^"]*"', "", svg)


def card_pdf(html: str, paper: str = "a4") -> bytes:
    """The page as a PDF on one of PAPERS; nothing is fetched. Raises TipinError without WeasyPrint or its libraries."""
    try:
        with redirect_stdout(io.StringIO()):  # it prints a page of its own where Pango is missing
            from weasyprint import CSS, HTML
            from weasyprint.urls import URLFetcher
    except ImportError:
        raise TipinError(f"a PDF needs WeasyPrint: {INSTALL_CARD}; or write an .html file and print that") from None
    except OSError:
        raise TipinError(f"WeasyPrint cannot start, {PANGO}; or write an .html file and print that") from None

    class Refusing(URLFetcher):  # type: ignore[misc]
        """A card stands by itself: what a page names is never fetched."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            raise ValueError(f"{url}: a card fetches nothing")

    page = HTML(string=html, url_fetcher=Refusing())
    for print_pt, notes_mm in PRINTS:
        own = CSS(
            string=f"@page {{ size: {PAPERS[paper]} }} html {{ font-size: {print_pt}pt !important }} "
            f"textarea {{ height: {notes_mm}mm !important }}"
        )
        document = page.render(stylesheets=[own])
        if len(document.pages) <= MOST_PAGES:
            break
    pdf: bytes = document.write_pdf()
    return pdf
