"""No page has a serious finding by axe-core, the open engine behind most checks of WCAG 2.2 A and AA."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

PAGES = ("", "tickets", "model", "vocabulary", "shop", "club")
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
SERIOUS = ("serious", "critical")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("page_name", PAGES, ids=lambda name: name or "bench")
def test_axe_finds_nothing_serious(browser: Browser, dashboard: str, page_name: str, scheme: str) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 900}, color_scheme=scheme)  # type: ignore[arg-type]
    try:
        page.goto(f"{dashboard}/{page_name}")
        page.locator("h1").first.wait_for(timeout=30_000)
        page.wait_for_timeout(1_500)
        found = Axe().run(page, options=RULES).response["violations"]
    finally:
        page.close()
    told = [
        f"{rule['id']} ({rule['impact']}): {rule['help']}: {node['html'][:160]}"
        for rule in found
        if rule["impact"] in SERIOUS
        for node in rule["nodes"][:2]
    ]
    assert told == []
