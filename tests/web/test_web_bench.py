"""The parts that can go into a car: what the engine says of every part is what the page shows."""

import re
from concurrent.futures import ThreadPoolExecutor
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
from starlette.testclient import TestClient
from web_page import CATALOG, EXAMPLES, OWN_FORM, browser, form_of, page_of, workshop_in

from configurator.advice.availability import Availability
from configurator.book.book import open_book
from configurator.car.vehicle import load_vehicle
from configurator.judging.case import Case
from configurator.learning.as_known import as_known
from configurator.rules import RULES
from configurator.slots.wishes import choose, read_wishes, word_of
from configurator.views.vehicle_pictures import PICTURES
from configurator.web import workshop as workshop_module
from configurator.web.pages import slot_name
from configurator.web.workshop import Workshop

PART = {"hx-request": "true"}


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    """A workshop that nothing is written to."""
    return workshop_in(tmp_path_factory.mktemp("shown"), "roadster", "tow-truck", "van", "hill-climber")


@pytest.fixture(scope="module")
def client(shown: Workshop) -> TestClient:
    return browser(page_of(shown), follow=False)


@pytest.fixture
def written(tmp_path: Path) -> Workshop:
    """A workshop with a book of its own."""
    return workshop_in(tmp_path / "cars", "roadster")


def case_of(name: str) -> Case:
    return Case.of(load_vehicle(EXAMPLES / f"{name}.toml"), CATALOG)


def text_of(html: str) -> str:
    """What is read of a page, in one line."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def radios(html: str) -> dict[str, dict[str, str]]:
    """For each slot the buttons by their word, with their attributes."""
    found: dict[str, dict[str, str]] = {}
    for attributes in re.findall(r'<input type="radio"([^>]*)>', html.partition('id="live"')[2]):
        name, word = (unescape(re.search(rf'{key}="([^"]*)"', attributes)[1]) for key in ("name", "value"))  # type: ignore[index]
        found.setdefault(name, {})[word] = attributes
    return found


def pins_of(address: str) -> dict[str, str]:
    """Slot and word of every pin in an address."""
    return dict(word.split("=", 1) for key, word in parse_qsl(urlsplit(address).query) if key == "pin")


@pytest.mark.parametrize("name", ["roadster", "tow-truck", "van", "hill-climber"])
@pytest.mark.parametrize("pins", [[], ["front.pump=pump-5cc"], ["front.nozzle=straight-1.00", "spacer=fitted"]])
def test_every_part_stands_where_the_engine_puts_it(client: TestClient, name: str, pins: list[str]) -> None:
    case = case_of(name)
    wishes = read_wishes(case.options, [], pins, [])
    report = Availability.of(case).report(wishes)
    html = client.get(f"/car/{name}/parts", params={"pin": pins}).text
    buttons = radios(html)
    assert list(buttons) == [slot.slot for slot in report.slots]
    chosen = {str(wish.slot): word_of(case.options[wish.slot][min(wish.allowed)]) for wish in wishes}
    for slot in report.slots:
        block = html.partition(f'id="slot-{slot.slot}"')[2].partition('<details class="slot')[0]
        possible = {option.word for option in slot.options if option.state != "impossible"}
        kept = {option.word for option in slot.options if option.fitted} | ({chosen.get(slot.slot, "")} - {""})
        assert set(buttons[slot.slot]) == {"", *possible, *kept}
        checked = [word for word, attributes in buttons[slot.slot].items() if " checked" in attributes]
        assert checked == [chosen.get(slot.slot, "")]
        read = text_of(block)
        for option in slot.options:
            assert " ".join(option.label.split()) in read
            assert all(" ".join(says.split()) in read for says in option.wrong)
            open_ = option.state != "impossible" or option.word == chosen.get(slot.slot)
            if option.word in buttons[slot.slot]:
                assert (" disabled" not in buttons[slot.slot][option.word]) == open_, "what fits can be chosen"
            for other in option.with_changes:
                assert f"{slot_name(other.slot).lower()}: {other.to}" in read
        states = [option.state for option in slot.options]
        assert f"{states.count('will_not_cure')} will not cure, {states.count('impossible')} do not fit" in read
        assert "impossible" not in read


def test_the_first_button_leaves_a_slot_open_and_the_second_keeps_what_is_fitted(client: TestClient) -> None:
    for slot, words in radios(client.get("/car/roadster/parts").text).items():
        assert list(words)[:2] == ["", "fitted"], slot


def test_a_part_that_will_not_cure_can_be_chosen_and_is_told_as_that(client: TestClient) -> None:
    """The truck's own nozzle is too small."""
    before = client.get("/car/tow-truck/parts").text
    assert " disabled" not in radios(before)["front.nozzle"]["fitted"]
    assert "will not cure: too small: hesitates " in before
    html = client.get("/car/tow-truck/parts?pin=front.nozzle%3Dfitted").text
    assert 'class="verdict warn"' in html and "WILL NOT CURE" in html and "fits, but will not cure" in html
    assert "Nothing that fits cures it" in html and "you asked for front nozzle = fitted" in html


def test_a_part_that_does_not_fit_is_shut_unless_it_is_the_one_chosen(client: TestClient) -> None:
    """A lobe for the larger pump's lever, the pump being decided; chosen all the same, it is shown as chosen, with the
    reason."""
    pump, lobe = "pin=front.pump%3Dfitted", "front.lobe"
    word = "lobe-force@0"
    assert word not in radios(client.get(f"/car/tow-truck/parts?{pump}").text)[lobe]
    html = client.get(f"/car/tow-truck/parts?{pump}&pin={lobe}%3D{word}").text
    assert " disabled" not in radios(html)[lobe][word] and 'class="verdict bad"' in html and "DOES NOT FIT" in html
    assert "does not fit: the lobe is made for another pump's lever" in unescape(html)


def test_a_choice_is_judged_and_the_least_further_changes_mend_it(client: TestClient) -> None:
    html = client.get("/car/tow-truck/parts?pin=front.pump%3Dpump-5cc").text
    assert "DOES NOT FIT" in html and "Also needed, at the least" in html
    onwards = unescape(re.search(r'href="([^"]*)"[^>]*id="take-too"', html)[1])  # type: ignore[index]
    case = case_of("tow-truck")
    best = Availability.of(case).best(read_wishes(case.options, [], ["front.pump=pump-5cc"], []))
    assert best is not None
    changed = {str(slot) for slot, option in best.items() if option.changed}
    assert set(pins_of(onwards)) == changed
    mended = client.get(onwards).text
    assert "Also needed" not in mended and re.search(r'id="verdict" class="verdict good".*?OK', mended, re.DOTALL)


def test_the_way_out_of_a_clash_is_a_link_that_makes_room(client: TestClient) -> None:
    html = client.get("/car/tow-truck/parts?pin=front.pump%3Dfitted&pin=front.nozzle%3Dstraight-0.80").text
    links = [unescape(link) for link in re.findall(r'<a href="([^"]*)"[^>]*>take it, give up', html)]
    assert links
    for link in links[:3]:
        given = [f"{slot}={word}" for slot, word in pins_of(link).items()]
        case = case_of("tow-truck")
        clash = Availability.of(case).clash(read_wishes(case.options, [], given, []))
        assert clash is None or clash.kind == "cure", "with that given up, it fits"


def test_a_form_without_script_is_led_to_the_address_of_its_choice(client: TestClient) -> None:
    answer = client.get("/car/roadster/parts?front.nozzle=&front.pump=fitted&spacer=spacer-6&pad_relief=")
    assert answer.status_code == 303
    address = answer.headers["location"]
    assert address.startswith("/car/roadster/parts?")
    assert pins_of(address) == {"front.pump": "fitted", "spacer": "spacer-6"}


def test_the_script_gets_the_part_of_the_page_and_its_address(client: TestClient) -> None:
    answer = client.get("/car/roadster/parts?front.nozzle=straight-0.85&spacer=", headers=PART)
    assert 'data-here="/car/roadster/parts?pin=front.nozzle%3Dstraight-0.85"' in answer.text
    assert "<html" not in answer.text and 'id="live"' in answer.text
    assert re.search(r'id="spoken" hx-swap-oob="innerHTML">(OK|WILL NOT CURE): 1 change', answer.text)
    whole = client.get("/car/roadster/parts?pin=front.nozzle%3Dstraight-0.85")
    assert "<html" in whole.text and whole.headers["vary"] == "HX-Request, Accept-Encoding"
    part, same = (html.partition('<h2 id="verdict"')[2] for html in (answer.text, whole.text))
    key = re.compile(r'name="key" value="[^"]*"')
    assert key.sub("", part.partition('<p id="spoken"')[0]).rstrip() in key.sub("", same)
    assert (
        'data-asked="/car/roadster/parts?pin=front.nozzle=straight-0.85"'
        in client.get("/car/roadster/parts?pin=front.nozzle=straight-0.85").text
    ), "as the browser wrote it"


def test_an_address_keeps_the_last_word_on_a_slot_and_any_way_to_say_it(client: TestClient) -> None:
    html = client.get("/car/roadster/parts?pin=front.nozzle%3Dstraight-0.80&pin=front.nozzle%3Dstraight-0.85").text
    assert " checked" in radios(html)["front.nozzle"]["straight-0.85"]
    said_otherwise = client.get("/car/roadster/parts?pin=pad_relief%3D1.0mm").text
    assert " checked" in radios(said_otherwise)["pad_relief"]["1mm"]


@pytest.mark.parametrize("said", ["front.nozzle=0.85mm", "front.lobe=lobe-fell"])
def test_a_word_for_several_parts_is_kept_as_the_part_that_is_taken(client: TestClient, said: str) -> None:
    case = case_of("roadster")
    (wish,) = read_wishes(case.options, [], [said], [])
    assert len(wish.allowed) > 1
    taken = word_of(choose(case.options, [wish])[wish.slot])
    html = client.get("/car/roadster/parts", params={"pin": said}).text
    (checked,) = (word for word, attributes in radios(html)[str(wish.slot)].items() if " checked" in attributes)
    assert checked == taken
    assert pins_of(unescape(re.search(r'data-here="([^"]*)"', html)[1])) == {str(wish.slot): taken}  # type: ignore[index]
    assert f"decided: {choose(case.options, [wish])[wish.slot].label}" in text_of(html)


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("pin=front.nozzle%3Dnone-such", "nothing in the catalogue for front.nozzle is 'none-such'"),
        ("pin=rear.nozzle%3Dstraight-0.85", "rear.nozzle is no slot"), ("pin=nonsense", "is not of the form SLOT=WHAT"),
        ("front.pump=99cc", "nothing in the catalogue for front.pump is '99cc'"),
    ],
)  # fmt: skip
def test_a_word_that_means_nothing_is_told_as_the_command_line_would(client: TestClient, query: str, says: str) -> None:
    answer = client.get(f"/car/roadster/parts?{query}")
    assert answer.status_code == 400 and says in text_of(answer.text)


@pytest.mark.parametrize("what", PICTURES)
def test_a_picture_changes_with_the_choice_and_says_what_it_shows(client: TestClient, what: str) -> None:
    address = f"/car/roadster/picture/{what}/front"
    fitted, chosen = (client.get(address + query, headers=PART).text for query in ("", "?pin=front.lobe%3Dfitted%400"))
    says = [unescape(re.search(r'alt="([^"]+)"', html)[1]) for html in (fitted, chosen)]  # type: ignore[index]
    assert says[0] != says[1] and all(len(words) > 20 for words in says)
    files = [unescape(re.search(r'src="([^"]+)"', html)[1]) for html in (fitted, chosen)]  # type: ignore[index]
    drawn = [client.get(file) for file in files]
    assert all(one.headers["content-type"] == "image/svg+xml" and one.text.startswith("<svg") for one in drawn)
    assert drawn[0].text != drawn[1].text
    assert "<html" in client.get(address).text


def test_the_bench_names_a_picture_of_each_kind_for_each_circuit(client: TestClient) -> None:
    parts = re.findall(r'<figure id="picture-(\w+)-(\w+)"', client.get("/car/hill-climber/parts").text)
    assert len(parts) == len(set(parts)) == 2 * len(PICTURES)
    assert client.get("/car/roadster/picture/shot/rear").status_code == 404


def test_a_picture_has_another_address_with_another_catalogue(shown: Workshop) -> None:
    """A browser keeps it for an hour, and the server may be started anew meanwhile."""
    pages = [browser(page_of(workshop)).get("/car/roadster/parts").text for workshop in (
        shown, shown, Workshop(shown.folder, shown.catalog, shown.book),
    )]  # fmt: skip
    first, again, other = (re.findall(r'src="([^"]*drawn[^"]*)"', html) for html in pages)
    assert first == again and len(first) == len(PICTURES) and not set(first) & set(other)


def test_the_card_is_that_of_the_choice(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    answer = client.get("/car/roadster/card?pin=front.nozzle%3Dstraight-0.85")
    assert answer.status_code == 200 and "straight-0.85" in answer.text and "Club roadster" in answer.text
    assert "Log the run on the page of this car." in answer.text and "tipin trial" not in answer.text
    monkeypatch.setattr("configurator.web.print_card.card_pdf", lambda html, paper: f"{paper} {html}".encode())
    for asked, paper in (("", "a4"), ("&paper=letter", "letter"), ("&paper=../a4", "a4")):
        printed = client.get(f"/car/roadster/card?pin=front.nozzle%3Dstraight-0.85&format=pdf{asked}")
        assert printed.headers["content-type"] == "application/pdf" and printed.text.startswith(
            f"{paper} <!DOCTYPE html>"
        )


def test_runs_move_what_fits(written: Workshop) -> None:
    client = browser(page_of(written))
    client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": "stumble"})
    known = as_known(case_of("roadster"), written.book)
    html = client.get("/car/roadster/parts").text
    assert known.belief is not None and known.says.capitalize() in html
    report = Availability.of(known.choosing()).report([])
    nozzles = next(slot for slot in report.slots if slot.slot == "front.nozzle")
    possible = {option.word for option in nozzles.options if option.state != "impossible"}
    assert set(radios(html)["front.nozzle"]) == {"", "fitted", *possible}


def test_what_is_on_the_shelf_is_told_beside_the_part(written: Workshop) -> None:
    client = browser(page_of(written))
    assert "on the shelf<" not in client.get("/car/roadster/parts").text.partition('<form id="choice"')[2]
    with open_book(written.book) as book:
        book.move_stock("straight-0.80", 3, "bought")
    (row,) = re.findall(r'<div class="option[^"]* shelf.*?</div>', client.get("/car/roadster/parts").text, re.DOTALL)
    assert "straight-0.80" in row and "3 on the shelf" in row


def test_no_name_of_a_rule_stands_outside_a_fold(client: TestClient) -> None:
    """Whoever turns a spanner reads sentences."""
    for address in ("/car/van/parts", "/car/tow-truck/parts?pin=front.pump%3Dpump-5cc"):
        html = re.sub(r'<details class="fold".*?</details>', "", client.get(address).text, flags=re.DOTALL)
        assert not [rule for rule in RULES if rule in html]


def test_fifty_at_once_have_the_engine_built_once(written: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    built = []

    class Counted(Availability):
        @classmethod
        def of(cls, *asked: Any) -> Availability:
            built.append(asked)
            return Availability.of(*asked)

    monkeypatch.setattr(workshop_module, "Availability", Counted)
    client = browser(page_of(written))
    with client, ThreadPoolExecutor(50) as threads:
        answers = list(threads.map(lambda _: client.get("/car/roadster/parts").status_code, range(50)))
    assert answers == [200] * 50 and len(built) == 1
