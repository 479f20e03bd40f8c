"""A car by questions, and a file mended, in a real browser: on a phone, without script, and to a screen reader."""

from pathlib import Path

import pytest
from auditing import audit, audit_unfolded
from browser import DESK, HEIGHT, PHONE, Visits
from playwright.sync_api import Browser, Locator
from serving import EXAMPLES, serving

pytest_plugins = ["browser"]
ANSWERED = (
    "name=Coupe&engine_size=350+cu+in&idle_speed=850&idle_vacuum=&gearbox=automatic&stall_speed=1900&barrels=2"
    "&flow=600+cfm&manifold=ordinary&front_nozzle=31+thou"
)
PAGES = {
    "first question": "/new", "a choice": "/new?name=Coupe&engine_size=3+l&idle_speed=&idle_vacuum=",
    "a part or its code": f"/new?{ANSWERED}", "at fault": "/new?name=Coupe&at=engine_size&engine_size=furlongs",
    "all answers": f"/new?{ANSWERED}&front_pump=&front_screw=&front_lobe=&checked=no",
    "a file": "/car/van/file", "on a phone": "/phone",
}  # fmt: skip
TOO_LOW = """[...document.querySelectorAll('main :is(button, .button, textarea, input:not([type=hidden]))')]
    .filter(at => at.checkVisibility()).map(at => at.type === 'radio' ? at.labels[0] : at)
    .map(at => at.getBoundingClientRect().height).filter(height => height < 44)"""
PLANNED_WITHIN_MS = 180_000
WRONG = (EXAMPLES / "van.toml").read_text(encoding="utf-8").replace("idle_rpm", "idel_rpm")


def go(way: Locator) -> None:
    """By touch, to where it leads."""
    with way.page.expect_navigation():
        way.tap()


@pytest.mark.parametrize("path", PAGES.values(), ids=PAGES)
def test_the_audit_finds_nothing(visits: Visits, path: str) -> None:
    visits.refusals_meant = {400}
    page = visits.open()
    page.goto(path)
    audit_unfolded(page)
    for width in (DESK, PHONE):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        assert page.evaluate(TOO_LOW) == [], f"{width} px: too low for a thumb"


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without"])
def test_a_car_is_described_on_a_phone(visits: Visits, script: bool) -> None:
    """By touch: an answer, one at fault, what is not known, a step back, the summary; at last the car's own page."""
    visits.refusals_meant = {400}
    page = visits.open(PHONE, java_script_enabled=script, drawn=())
    page.goto("/new")
    name = f"Browser's coupe {script}"
    page.get_by_label("What do you call the car?").fill(name)
    go(page.get_by_role("button", name="Next"))
    page.get_by_label("How large is the engine?").fill("350 furlongs")
    go(page.get_by_role("button", name="Next"))
    assert page.locator("#wrong").inner_text().startswith("✕")
    page.get_by_label("How large is the engine?").fill("350 cu in")
    go(page.get_by_role("button", name="Next"))
    go(page.get_by_role("button", name="I don't know"))
    go(page.get_by_role("link", name="Back", exact=True))
    page.get_by_label("At what speed does it idle").fill("850")
    go(page.get_by_role("button", name="Next"))
    go(page.get_by_role("button", name="I don't know"))
    page.get_by_text("it stumbles out of gear").tap()
    go(page.get_by_role("button", name="Next"))
    page.get_by_text("two that open together").tap()
    go(page.get_by_role("button", name="Next"))
    page.get_by_label("What air flow").fill("600 cfm")
    go(page.get_by_role("button", name="Next"))
    page.reload()
    go(page.get_by_role("button", name="I don't know"))
    page.get_by_label("Which discharge nozzle").fill("31 thou")
    go(page.get_by_role("button", name="Next"))
    page.get_by_label("Or a part of the catalogue").fill("pump-3cc")
    go(page.get_by_role("button", name="Next"))
    for _ in range(3):
        go(page.get_by_role("button", name="I don't know"))
    assert page.get_by_role("heading", level=1).inner_text() == "Is that right?"
    go(page.get_by_role("link", name="How large is the engine?"))
    go(page.get_by_role("button", name="Next"))
    go(page.get_by_role("button", name="Add this car"))
    page.wait_for_url("**/car/Browser-s-coupe*")
    assert name in page.content().replace("&#39;", "'")
    file = next(visits.served.folder.glob(f"Browser*{script}.toml"))
    assert 'displacement_cc = "350 cu in"' in file.read_text() and "idle_pressure_kpa is not known" in file.read_text()


def test_a_refused_file_is_mended_on_a_phone(visits: Visits, tmp_path: Path) -> None:
    visits.refusals_meant = {400}
    (tmp_path / "mended van.toml").write_text(WRONG.replace("Marshals' van", "Mended van"), encoding="utf-8")
    page = visits.open(PHONE, drawn=())
    page.goto("/")
    page.locator("#file").set_input_files(tmp_path / "mended van.toml")
    go(page.get_by_role("button", name="Put it into the folder"))
    audit(page)
    line = page.get_by_label("Line ").first
    assert "idel_rpm" in line.input_value() and "idle_rpm" in page.locator(".notice.bad").first.inner_text()
    line.fill(line.input_value().replace("idel_rpm", "idle_rpm"))
    go(page.get_by_role("button", name="Put it into the folder").first)
    page.wait_for_url("**/car/mended-van")
    assert (visits.served.folder / "mended-van.toml").read_text() == WRONG.replace(
        "Marshals' van", "Mended van"
    ).replace("idel_rpm", "idle_rpm")


@pytest.mark.long(40)
def test_an_order_is_kept_sent_and_put_on_the_shelf(chromium: Browser, tmp_path: Path) -> None:
    """In a page of its own: what came on a shelf that others share would be counted on by their orders."""
    with serving(tmp_path / "own") as served:
        visits = Visits(chromium, served)
        page = visits.open(PHONE, drawn=())
        page.goto(
            "/order/plan?car=roadster&day%3Aroadster=2100-01-01&sure=80&one_supplier=y&no_redrill=y",
            timeout=PLANNED_WITHIN_MS,
        )
        go(page.get_by_role("button", name="Keep this order"))
        go(page.locator(".answers a").first)
        for name in ("It is sent", "Put on the shelf"):
            page.evaluate("document.querySelectorAll('details').forEach(details => { details.open = true; })")
            audit(page)
            go(page.get_by_role("button", name=name))
        assert "and on the shelf" in page.locator("main").inner_text()
        for path in ("/orders", "/orders/1"):
            page.goto(path)
            audit(page)
            assert "arrived" in page.locator("main").inner_text()
        visits.close()
    visits.check()
