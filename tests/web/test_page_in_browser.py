"""Parts and orders on the local page: a real browser on the real program, with mouse or finger."""

import re
from pathlib import Path
from urllib.parse import parse_qsl, quote, urlsplit

import pytest
from browser import DESK, PHONE, Visits, sideways_px
from playwright.sync_api import Locator, Page, expect
from serving import EXAMPLES

pytest_plugins = ["browser"]
ROADSTER = (EXAMPLES / "roadster.toml").read_text(encoding="utf-8")
PICTURES = ("pull", "shot", "mixture", "sizes", "lift")
NOT_YET_TOLD = re.compile("its own page says|^$")
A_WAY_OUT = re.compile("^take it, give up the front pump")


def heading(page: Page) -> Locator:
    return page.get_by_role("heading", level=1)


def slot(page: Page, name: str) -> Locator:
    return page.locator(f"[id='slot-{name}']")


def option(page: Page, name: str, part: str) -> Locator:
    return slot(page, name).get_by_role("radio", name=re.compile(rf"^{re.escape(part)}"))


def pins(page: Page) -> dict[str, str]:
    """What is chosen, as the address says."""
    return dict(word.split("=", 1) for key, word in parse_qsl(urlsplit(page.url).query) if key == "pin")


def open_all(box: Locator) -> None:
    """Open a box and the boxes in it."""
    for summary in box.locator("summary").all():
        if not summary.evaluate("summary => summary.parentElement.open"):
            summary.click()


UNDER_WAY = ".htmx-request, .htmx-swapping, .htmx-settling"
"""What the page marks while it takes a new choice in: what is folded out before that is folded again."""


def pick(page: Page, name: str, part: str) -> None:
    """Choose a part in a slot, and wait until the page shows that choice."""
    wanted = option(page, name, part)
    for _ in range(100):  # the page may fold a box again while it takes an earlier choice in
        open_all(slot(page, name))
        if wanted.is_visible():
            break
        page.wait_for_timeout(100)
    word = wanted.get_attribute("value")
    wanted.check()
    page.wait_for_url(lambda url: ("pin", f"{name}={word}") in parse_qsl(urlsplit(url).query))
    expect(page.locator(UNDER_WAY)).to_have_count(0)


def picture(page: Page, what: str) -> tuple[str, str]:
    """Address and words of a picture on the bench, once both are there."""
    figure = page.locator(f"[id='picture-{what}-front']")
    figure.scroll_into_view_if_needed()
    image = figure.get_by_role("img")
    expect(image).not_to_have_attribute("alt", NOT_YET_TOLD)
    shows(image)
    return image.get_attribute("src") or "", image.get_attribute("alt") or ""


def shows(image: Locator) -> None:
    """Wait until a picture is loaded."""
    expect(image).to_have_js_property("complete", True)
    expect(image).not_to_have_js_property("naturalWidth", 0)


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_parts_chosen_by_hand_are_judged_drawn_and_booked(visits: Visits, width: int) -> None:
    name = f"Tourer seen {width} wide"
    text = ROADSTER.replace("Club roadster", name)
    (visits.served.folder / f"tourer-{width}.toml").write_text(text, encoding="utf-8")
    drawn: set[str] = set()
    page = visits.open(width, drawn)
    page.goto(f"/car/tourer-{width}")
    page.get_by_role("link", name=re.compile("^pump ?pump-3cc")).click()
    expect(option(page, "front.pump", "keep pump-3cc")).to_be_visible()
    verdict, counts = page.locator("#verdict"), slot(page, "front.nozzle").locator(".counts")
    expect(verdict).to_contain_text("WILL NOT CURE as fitted")
    before = counts.inner_text()

    drawn.update(PICTURES)
    pick(page, "front.pump", "pump-5cc")
    expect(verdict).to_contain_text(re.compile(r"\d further change"))
    expect(page.locator(".bar")).to_contain_text("Does not fit")
    expect(counts).not_to_have_text(before)
    open_all(slot(page, "front.lobe"))
    reason = slot(page, "front.lobe").locator(".reason").filter(has_text="you asked for front.pump = pump-5cc")
    expect(reason).to_contain_text("the lobe is made for another pump's lever")
    as_asked = {what: picture(page, what) for what in PICTURES}

    page.get_by_role("link", name="Take these too").click()
    expect(verdict).to_contain_text(re.compile(r"OK \d changes"))
    expect(page.get_by_role("link", name="Take these too")).to_have_count(0)
    assert set(pins(page)) >= {"front.pump", "front.lobe"}
    taken = {what: picture(page, what) for what in PICTURES}
    for what in PICTURES:
        assert taken[what][0] != as_asked[what][0] and taken[what][1]
    assert sideways_px(page) <= 0
    drawn.clear()

    page.locator("#shelf-too > summary").click()
    page.get_by_label("What comes out goes on the shelf").check()
    page.get_by_role("button", name="Fitted now").click()
    expect(heading(page)).to_have_text(f"Job card: {name}")
    expect(page.locator("main")).to_contain_text("pump-5cc")
    page.goto(f"/car/tourer-{width}")
    expect(page.locator("[aria-labelledby=fitted-title]")).to_contain_text("pump-5cc")
    page.goto("/shelf")
    expect(page.locator(".shelf")).to_contain_text("pump-3cc")


def test_parts_are_looked_for_and_filtered(visits: Visits) -> None:
    page = visits.open(PHONE, ())
    page.goto("/car/roadster/parts?open=front.nozzle")
    nozzles = slot(page, "front.nozzle").locator(".option:visible")
    page.get_by_label("Find a part").fill("1.00")
    expect(nozzles.filter(has_text="1.00 mm").first).to_be_visible()
    expect(nozzles.filter(has_not_text="1.00")).to_have_count(0)
    page.get_by_label("Find a part").fill("")
    page.get_by_text("fits as it is").click()
    expect(nozzles.filter(has_text="will not cure")).to_have_count(0)
    page.get_by_text("all", exact=True).click()
    expect(nozzles.filter(has_text="will not cure").first).to_be_visible()


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_order_for_one_vehicle(visits: Visits, width: int) -> None:
    page = visits.open(width)
    page.goto("/")
    page.get_by_role("link", name="Orders").click()
    page.get_by_role("link", name="Plan one").click()
    page.get_by_label("Club roadster", exact=True).check()
    page.get_by_label("How sure, %").fill("80")
    page.get_by_role("button", name="Plan the order").click()
    plan = page.locator("#plan")
    expect(plan.get_by_role("heading", level=2)).to_contain_text(re.compile("YES|NO"))
    expect(plan.get_by_role("region", name="The cars")).to_contain_text("Club roadster")
    image = plan.get_by_role("img")
    shows(image)
    expect(image).to_have_attribute("alt", re.compile(r"This order costs \d"))
    assert sideways_px(page) <= 0


def test_what_cannot_be_had_tells_why_and_is_had_by_giving_up_another(visits: Visits) -> None:
    page = visits.open(drawn=())
    page.goto("/car/roadster/parts?pin=front.pump%3Dpump-5cc")
    open_all(slot(page, "front.lobe"))
    ways = slot(page, "front.lobe").locator(".forbidden li")
    shut = ways.filter(has=page.get_by_role("link", name=A_WAY_OUT)).first
    label = shut.inner_text().partition("take it")[0].strip()
    shut.get_by_role("link", name=A_WAY_OUT).click()
    expect(slot(page, "front.lobe").locator(".chosen").first).to_contain_text(f"decided: {label}")
    assert set(pins(page)) == {"front.lobe"}


def test_going_back_shows_the_choice_before(visits: Visits) -> None:
    page = visits.open(drawn=())
    page.goto("/car/roadster/parts")
    pick(page, "front.pump", "pump-5cc")
    pick(page, "front.pump", "pump-3cc-soft")
    page.go_back()
    expect(option(page, "front.pump", "pump-5cc")).to_be_checked()
    expect(page.locator(".changes")).to_contain_text("Front pump: pump-5cc")
    page.go_back()
    expect(page.locator(".changes")).to_have_count(0)
    assert pins(page) == {}
    page.go_forward()
    expect(page.locator(".changes")).to_contain_text("Front pump: pump-5cc")


def test_without_script_a_choice_is_made_by_the_button_of_the_form(visits: Visits) -> None:
    page = visits.open(java_script_enabled=False)
    page.goto("/car/roadster/parts")
    open_all(slot(page, "front.pump"))
    option(page, "front.pump", "pump-5cc").check()
    page.get_by_role("button", name="Show this choice").click()
    expect(page.locator(".changes")).to_contain_text("Front pump: pump-5cc")
    assert pins(page) == {"front.pump": "pump-5cc"}
    drawn = page.locator("[id='picture-shot-front']")
    drawn.scroll_into_view_if_needed()
    shows(drawn.get_by_role("img"))
    drawn.get_by_role("link").click()
    shows(page.get_by_role("img"))
    expect(page.get_by_role("img")).not_to_have_attribute("alt", NOT_YET_TOLD)


MARKUP = """<script>document.title='taken'</script>"><img src=x onerror="alert(1)">{{7*7}}${7*7}$x^2$"""
LONG = "Aseverylongnamegoes" * 10
RIGHT_TO_LEFT = "\u202e\u2067car of the marshals\u2069 \u05e9\u05dc\u05d5\u05dd"


@pytest.mark.parametrize("name", [MARKUP + RIGHT_TO_LEFT, LONG], ids=["markup", "long"])
def test_a_hostile_file_is_shown_as_text_everywhere(visits: Visits, tmp_path: Path, name: str) -> None:
    file = tmp_path / f"{name.replace('/', '')[:80]}.toml"
    note = f"{name} 'note' & {name}"
    text = ROADSTER.replace('"Club roadster"', f"'''{name}'''")
    file.write_text(re.sub(r'note = """.*?"""', lambda _: f"note = '''{note}'''", text, flags=re.DOTALL), "utf-8")
    page = visits.open(PHONE, {"shot"})
    page.goto("/")
    page.get_by_label("Vehicle file").set_input_files(file)
    page.get_by_role("button", name="Put it into the folder").click()
    expect(heading(page)).to_have_text(name)
    expect(page.locator("#figures")).to_contain_text(note)
    here = page.url
    page.goto(f"{here}/parts")
    pick(page, "front.pump", "pump-5cc")
    assert picture(page, "shot")[1]
    page.goto(f"{here}/run")
    page.get_by_text("Sags in smoke").click()
    page.get_by_label("A word, if you like").fill(note)
    page.get_by_role("button", name="Save this run").click()
    expect(page.locator("#runs")).to_contain_text(note)
    lying = visits.served.folder / file.name  # the same under the very name that a file may have on a disk
    lying.write_bytes(file.read_bytes())
    lies_at = f"/car/{quote(lying.stem, safe='')}"
    for path in (
        "/",
        here,
        lies_at,
        f"{lies_at}/judged",
        f"{here}/runs",
        f"{here}/picture/shot/front",
        f"{here}/card",
        "/order",
    ):
        page.goto(path)
        expect(page.locator("main")).to_contain_text(name)
        assert page.locator("main script, main [onerror], [src=x]").count() == 0
        assert page.title() != "taken" and sideways_px(page) <= 0, path
    lying.unlink()
