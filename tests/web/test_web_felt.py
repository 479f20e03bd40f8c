"""What the driver feels on the bench: it is not content until that is answered, and every link leads somewhere."""

import re
from html import unescape
from urllib.parse import parse_qs, urlsplit

import pytest
from starlette.testclient import TestClient
from test_web_bench import PART, pins_of, text_of
from web_page import browser, page_of, workshop_in

from configurator.judging.feelings import SYMPTOMS
from configurator.slots.slot import SLOTS
from configurator.web.workshop import ChosenPins, Workshop

LINK = re.compile(r'<li>([^<]*) <a href="([^"]*)"[^>]*>take it, give up')


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    return workshop_in(tmp_path_factory.mktemp("felt"), "roadster")


@pytest.fixture(scope="module")
def client(shown: Workshop) -> TestClient:
    return browser(page_of(shown))


def verdict(html: str) -> str:
    return text_of(html.partition('<h2 id="verdict"')[2].partition("</h2>")[0].partition(">")[2])


def test_the_bench_is_content_only_once_what_is_felt_is_answered(client: TestClient) -> None:
    """As fitted it asks for further changes; with a larger nozzle none answers smoke; said aloud as it is shown."""
    for pins, says in (([], "further change"), (["front.nozzle=straight-0.72"], "no further change")):
        asked = {"symptom": "smoke", "pin": pins}
        told = verdict(client.get("/car/roadster", params=asked).text)
        assert re.match(r"\W (WILL NOT CURE|NOT YET) ", told) and says in told
        part = client.get("/car/roadster", params=asked, headers=PART).text
        spoken = part.partition('id="spoken"')[2].partition("</p>")[0]
        assert told[2:].split(" ", 1)[0] in spoken and says in spoken
        assert 'class="verdict warn"' in part


def test_a_car_that_pulls_cleanly_is_in_order_on_the_bench(client: TestClient) -> None:
    """Whatever the model says of its fuel; with another nozzle nothing has been felt yet."""
    before, after = (client.get("/car/roadster", params={"symptom": word}).text for word in ("", "clean"))
    assert "WILL NOT CURE" in verdict(before) and 'class="verdict good"' in after
    assert verdict(after).startswith("✓ OK as fitted: it pulls cleanly as it is")
    assert "it pulls cleanly as it is; the model alone would say: too small: hesitates " in text_of(after)


def test_a_pin_against_what_is_felt_is_the_one_to_give_up(client: TestClient) -> None:
    text = text_of(client.get("/car/roadster?symptom=smoke&pin=front.nozzle%3Dstraight-0.72").text)
    assert "by what was felt: a clean start that sags in black smoke" in text
    assert "you asked for front.nozzle = straight-0.72 felt no better before" in text
    assert "To make room give up front.nozzle = straight-0.72." in text and "what the driver feels" not in text


def test_every_feeling_has_its_page(client: TestClient, shown: Workshop) -> None:
    """Each is judged in the engine that it speaks for."""
    engines = set()
    clean = "it pulls cleanly as it is: the fuel side is left alone"
    for word, symptom in SYMPTOMS.items():
        says = f"by what was felt: {symptom.says}" if symptom.side else clean
        assert says in text_of(client.get(f"/car/roadster?symptom={word}").text)
        engines.add(shown.setting("roadster", word).case.engine)
    tells = {tuple(symptom.tells.items()) for symptom in SYMPTOMS.values()}
    assert len(engines) == len(tells)


@pytest.mark.parametrize(
    "pins",
    [[], ["front.nozzle=fitted"], ["front.feed_screw=fitted"], ["front.pump=fitted"], ["front.lobe=fitted"],
     ["front.pump=pump-5cc"], ["front.nozzle=fitted", "front.pump=pump-5cc"],
     ["front.feed_screw=fitted", "front.lobe=fitted", "spacer=fitted"]],
    ids=" ".join,
)  # fmt: skip
@pytest.mark.parametrize("symptom", ["smoke", ""])
def test_every_link_leads_to_where_its_part_can_be_had(
    client: TestClient, shown: Workshop, symptom: str, pins: list[str]
) -> None:
    html = client.get("/car/roadster", params={"symptom": symptom, "pin": pins}).text
    setting = shown.setting("roadster", symptom)
    links = [(unescape(label), unescape(link)) for label, link in LINK.findall(html)]
    assert links or len(pins) != 2, "nothing to follow"
    for label, link in links:
        assert parse_qs(urlsplit(link).query).get("symptom", [""]) == [symptom]
        after = pins_of(link)
        given = ChosenPins.read(setting.case, [f"{slot}={word}" for slot, word in after.items()])
        added = {slot: word for slot, word in after.items() if f"{slot}={word}" not in pins}
        ((slot, word),) = added.items()
        report = shown.engine(setting).report(given.listed, [SLOTS[slot]])
        taken = next(option for option in report.slots[0].options if option.word == word)
        assert taken.label == label and taken.state != "impossible", link
        assert report.clash is None or report.clash.kind == "cure", link


def test_the_page_asks_when_it_is_felt(client: TestClient, shown: Workshop) -> None:
    """Only of what may be felt at several moments; one left over from another symptom does not count."""
    html = client.get("/car/roadster?symptom=stumble").text
    assert '<select id="moment" name="moment">' in html and "both are weighed" in text_of(html)
    later = client.get("/car/roadster?symptom=stumble&moment=later").text
    assert '<option value="later" selected>' in later and "moment=later" in later
    assert "by what was felt: a stumble that recovers, after a moment" in text_of(later)
    engines = {moment: shown.setting("roadster", "stumble", moment).case.engine for moment in ("at-once", "later")}
    assert engines["at-once"].first_fuel > engines["later"].first_fuel
    for address in ("symptom=clean&moment=later", "symptom=flat&moment=at-once", "symptom=stumble&moment=soon"):
        answer = client.get(f"/car/roadster?{address}")
        assert answer.status_code == 200
        links = answer.text.replace(address.replace("&", "&amp;"), "")
        assert "moment=" not in links, "only where the address stands as it came"
    assert '<select id="moment"' not in client.get("/car/roadster?symptom=flat").text
