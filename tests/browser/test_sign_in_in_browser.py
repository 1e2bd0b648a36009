"""The door as a stranger and as a technician meet it."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from pipelines.access_phrases import set_phrase
from pipelines.settings import Settings

pytestmark = pytest.mark.browser

PHRASE = "three wet pianos"
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}


@pytest.fixture(scope="module")
def guarded(
    tmp_path_factory: pytest.TempPathFactory,
    demo_shop: Settings,
    serve_shop: Callable[[Settings], AbstractContextManager[str]],
) -> Iterator[str]:
    """Address of a server on a copy of the demo shop that asks for a pass phrase."""
    folder = tmp_path_factory.mktemp("guarded") / "shop"
    shutil.copytree(demo_shop.data_folder, folder)
    set_phrase(Settings(folder), "technician", PHRASE)
    with serve_shop(Settings(folder)) as address:
        yield address


def sign_in(page: Page, phrase: str) -> None:
    page.get_by_label("Pass phrase", exact=True).fill(phrase)
    page.get_by_role("button", name="Sign in").click()


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (768, "dark"), (1280, "dark")])
def test_a_stranger_stays_outside_and_a_technician_lands_where_the_link_led(
    browser: Browser, guarded: str, screenshots: Path, width: int, scheme: str
) -> None:
    context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme)
    page = context.new_page()
    page.goto(f"{guarded}/tickets")
    sign_in(page, f"not this one at {width}")
    expect(page.get_by_text("opens nothing")).to_be_visible()
    expect(page.get_by_label("Pass phrase", exact=True)).to_have_value("")
    expect(page.get_by_role("link", name="Tickets")).to_have_count(0)
    page.screenshot(path=screenshots / f"door_{width}_{scheme}.png")
    found = Axe().run(page, options=RULES).response["violations"]
    assert [f"{rule['id']}: {rule['help']}" for rule in found if rule["impact"] in ("serious", "critical")] == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    sign_in(page, PHRASE)
    expect(page.get_by_role("heading", name="Tickets", exact=True)).to_be_visible()
    expect(page.get_by_text("Signed in: technician.")).to_be_visible()
    page.screenshot(path=screenshots / f"door_open_{width}_{scheme}.png", full_page=True)
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.reload()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    context.close()
