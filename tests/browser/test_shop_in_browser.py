"""The Shop page as a person meets it: each part answers its questions on every screen, light and dark."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from dashboards.sentences import sentence
from pipelines.review_arrivals import QUESTION_LOAD
from pipelines.review_checks import QUESTION_FIX

pytestmark = pytest.mark.browser

WAIT_MS = 60_000
FIRST = {"shop.checks": QUESTION_FIX, "shop.arrivals": QUESTION_LOAD}
SCREENS = ((1280, "dark"), (768, "light"), (390, "light"))


def open_part(page: Page, address: str, part: str) -> None:
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{address}/shop")
    page.get_by_test_id("stButtonGroup").first.get_by_text(sentence(part), exact=True).click()
    expect(page.get_by_role("heading", name=FIRST[part])).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning", timeout=WAIT_MS)


@pytest.mark.parametrize("part", list(FIRST))
def test_every_part_fits_every_screen(browser: Browser, dashboard: str, screenshots: Path, part: str) -> None:
    for width, scheme in SCREENS:
        page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)  # type: ignore[arg-type]
        open_part(page, dashboard, part)
        expect(page.get_by_test_id("stVegaLiteChart").first).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.screenshot(path=screenshots / f"{part.replace('.', '-')}-{scheme}-{width}.png")
        page.close()


def test_the_table_behind_a_figure_opens(browser: Browser, dashboard: str) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    open_part(page, dashboard, "shop.checks")
    page.get_by_test_id("stExpander").first.click()
    expect(page.get_by_test_id("stDataFrame").first).to_be_visible()
    page.close()
