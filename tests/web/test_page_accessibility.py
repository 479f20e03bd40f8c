"""The local page for everybody: by keyboard alone, at the width of a phone, in the dark, and to a screen reader."""

import pytest
from auditing import audit_unfolded, violations
from browser import Visits
from playwright.sync_api import Page, expect
from serving import EXAMPLES

pytest_plugins = ["browser"]
CONFLICT = "/car/roadster/parts?pin=front.pump%3Dpump-5cc"
PLAN = "/order/plan?car=roadster&day%3Aroadster=2100-01-01&sure=80"
PAGES = {
    "cars": "/", "car": "/car/roadster/judged", "car of two circuits": "/car/hill-climber/judged",
    "log a run": "/car/roadster/run?felt=stumble", "measure a run": "/car/roadster/measure", "phone": "/phone",
    "runs": "/car/roadster/runs", "other ways": "/car/roadster/ways",
    "parts": "/car/van/parts", "parts with a conflict": CONFLICT, "shelf": "/shelf",
    "picture": "/car/roadster/picture/shot/front", "order form": "/order", "order": PLAN, "safety": "/safety",
    "catalogue": "/catalogue", "family": "/catalogue/nozzles", "part": "/catalogue/nozzles/straight-0.80",
    "card": "/car/roadster/card", "no such page": "/nothing",
    "no such part": "/car/roadster/parts?pin=front.pump%3Dnothing",
}  # fmt: skip
MOST_STOPS = 200


@pytest.mark.parametrize("path", PAGES.values(), ids=PAGES)
def test_the_audit_finds_nothing(visits: Visits, path: str) -> None:
    visits.refusals_meant = {400, 404}
    page = visits.open()
    page.goto(path)
    audit_unfolded(page)


def test_the_audit_would_notice_a_fault(visits: Visits) -> None:
    page = visits.open()
    page.goto("/order")
    page.evaluate("document.querySelector('label[for=sure]').remove()")
    assert list(violations(page)) == ["label"]


def test_a_part_is_named_by_itself_and_described_by_how_it_stands(visits: Visits) -> None:
    """A screen reader says the part and its size first, then whether it fits, what it needs, what it costs."""
    page = visits.open(drawn=())
    page.goto(CONFLICT)
    page.evaluate("document.querySelectorAll('details').forEach(details => { details.open = true; })")
    for state in ("with_changes", "will_not_cure"):
        row = page.locator(".option").filter(has=page.locator(f".state.{state}")).first
        part, stands = (row.locator(f"label {words}").inner_text() for words in (".what", ".stands"))
        expect(row.get_by_role("radio")).to_have_accessible_name(part)
        expect(row.get_by_role("radio")).to_have_accessible_description(stands.partition(" ")[2])


FOCUSED = """() => {
    const focused = document.activeElement, box = focused.getBoundingClientRect(), style = getComputedStyle(focused);
    return {
        id: focused.id, tag: focused.tagName,
        seen: box.bottom > 0 && box.top < innerHeight && box.width > 0 && focused.checkVisibility(),
        outlined: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
        says: (focused.labels && focused.labels.length ? focused.labels[0] : focused).textContent.trim(),
    };
}"""


class Keyboard:
    """A user with a keyboard and nothing else, who has to see where the focus is at every step."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def at(self) -> tuple[str, str]:
        """Id and words of what has the focus; fails if it was lost or cannot be seen."""
        found = self.page.evaluate(FOCUSED)
        assert found["tag"] != "BODY", "the focus is lost"
        assert found["seen"] and found["outlined"], f"the focus cannot be seen: {found}"
        return found["id"], found["says"]

    def go_to(self, where: str, *, back: bool = False) -> None:
        """Tab until something of this id or with these words at the start has the focus."""
        passed = []
        for _ in range(MOST_STOPS):
            self.page.keyboard.press("Shift+Tab" if back else "Tab")
            name, says = self.at()
            if name == where or says.startswith(where):
                return
            passed.append(name or says)
        pytest.fail(f"no Tab leads to {where}, only to {passed}")

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def keeps(self, where: str) -> None:
        """The focus comes to stand, or has stayed, where it is wanted."""
        self.page.wait_for_function("id => document.activeElement.id === id", arg=where)
        assert self.at()[0] == where


def test_the_whole_job_by_keyboard_alone(visits: Visits) -> None:
    name, text = "Keyboard roadster", (EXAMPLES / "roadster.toml").read_text(encoding="utf-8")
    # A car of its own: the run logged here would change what other tests find fitted.
    (visits.served.folder / "keyboard.toml").write_text(text.replace("Club roadster", name), encoding="utf-8")
    page = visits.open()
    keyboard = Keyboard(page)
    page.goto("/?all=yes")
    keyboard.go_to("Skip to the content")
    keyboard.press("Enter")
    keyboard.go_to(name)
    keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text(name)
    expect(page.locator("#ladder")).to_be_visible()

    keyboard.go_to("▲ Hesitates")
    keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("How did it go?")
    keyboard.go_to("felt-stumble")
    keyboard.press("ArrowDown", "ArrowUp")
    keyboard.go_to("moment-at-once")
    keyboard.press("Space")
    keyboard.go_to("run-note")
    page.keyboard.type("by keyboard")
    keyboard.go_to("Save this run")
    keyboard.press("Enter")
    page.wait_for_url("**?recorded=*")
    expect(page.locator("#runs")).to_contain_text("by keyboard")
    expect(page.locator("#ladder")).to_be_visible()
    keyboard.go_to("Take this step")
    keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Job card: {name}")


def test_parts_are_chosen_by_keyboard_alone(visits: Visits) -> None:
    page = visits.open(drawn=())
    keyboard, verdict = Keyboard(page), page.locator("#verdict")
    page.goto("/car/tow-truck/parts")
    keyboard.go_to("Front pump")
    keyboard.press("Enter")
    keyboard.go_to("Bring something along")
    keyboard.press("Space")
    keyboard.go_to("front.pump-0", back=True)
    keyboard.press("ArrowDown", "ArrowDown")  # faster than the page answers: only the last counts
    expect(verdict).not_to_contain_text("as fitted")
    chosen = str(page.evaluate("document.activeElement.id"))
    keyboard.keeps(chosen)
    expect(page.locator(f"[id='{chosen}']")).to_be_checked()
    while page.get_by_role("radio", name="pump-5cc").is_checked() is False:
        keyboard.press("ArrowDown")
    page.wait_for_url("**pin=front.pump%3Dpump-5cc*")
    expect(verdict).to_contain_text("further change")
    keyboard.keeps(str(page.get_by_role("radio", name="pump-5cc").get_attribute("id")))
    keyboard.go_to("take-too", back=True)
    keyboard.press("Enter")
    expect(verdict).to_contain_text("OK")
    keyboard.keeps("verdict")
    keyboard.go_to("Fitted now")


def test_the_order_by_keyboard_alone(visits: Visits) -> None:
    page = visits.open()
    keyboard = Keyboard(page)
    page.goto("/order")
    keyboard.go_to("Club roadster")
    keyboard.press("Space")
    keyboard.go_to("sure")
    page.keyboard.type("80")
    keyboard.go_to("Plan the order")
    keyboard.press("Enter")
    expect(page.locator("#plan-title")).to_contain_text("order for")
    keyboard.keeps("plan")
