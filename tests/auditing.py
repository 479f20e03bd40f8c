"""Whether a page in a real browser is usable by everybody: the audit of a well-kept library, and nothing sideways."""

from axe_playwright_python.sync_playwright import Axe
from browser import DESK, HEIGHT, PHONE, sideways_px
from playwright.sync_api import Page

_STANDARDS = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]


def violations(page: Page) -> dict[str, str]:
    """What the audit finds on a page as it is, by the name of the rule, and where."""
    found = Axe().run(page, options={"runOnly": _STANDARDS, "resultTypes": ["violations"]})
    report = found.generate_report() if found.violations_count else ""
    return {one["id"]: report for one in found.response["violations"]}


def audit(page: Page) -> None:
    """The page as it is."""
    found = violations(page)
    assert not found and sideways_px(page) <= 0, found


def audit_unfolded(page: Page) -> None:
    """The page with everything unfolded, on a desk and on a phone, there in the dark as well."""
    page.evaluate("document.querySelectorAll('details').forEach(details => { details.open = true; })")
    for width, scheme in ((DESK, "light"), (PHONE, "light"), (PHONE, "dark")):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        assert sideways_px(page) <= 0, f"{width} px, {scheme}"
        found = violations(page)
        assert not found, f"{width} px, {scheme}: {found}"
