"""The Vocabulary page as a person meets it: a link is made stronger, looked at, saved and taken back."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary, write_vocabulary
from pipelines.settings import Settings

pytestmark = pytest.mark.browser

WAIT_MS, NOTICED_MS = 30_000, 200
# The page scrolls inside itself: only a tall window shows all of it.
WIDTHS = {1280: 1500, 768: 1700, 390: 2100}
PARTS = {
    "Change one link": "How strongly does a complaint point to a suspect?",
    "All lists": "Click a cell to change it",
    "Rules of thumb": "Rules so far",
    "Earlier versions": "Every save keeps the version before it",
    "From tickets": "Draft the lists from your own tickets",
}


WITHOUT_NOTES = ("Earlier versions", "From tickets")


@pytest.fixture
def shop(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Settings:
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    return Settings(tmp_path)


@pytest.fixture
def address(shop: Settings, serve_shop: Callable[[Settings], AbstractContextManager[str]]) -> Iterator[str]:
    with serve_shop(shop) as served:
        yield served


def open_vocabulary(context: BrowserContext, dashboard: str) -> Page:
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(dashboard)
    expect(page.get_by_role("heading", name="Bench", exact=True)).to_be_visible()
    page.goto(f"{dashboard}/vocabulary")
    expect(page.get_by_role("heading", name="Vocabulary", exact=True)).to_be_visible()
    wait_until_drawn(page)
    return page


def wait_until_drawn(page: Page) -> None:
    # the server hears of a click a moment later; until then the page still says that nothing runs
    page.wait_for_timeout(NOTICED_MS)
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")


def choose_part(page: Page, name: str) -> None:
    page.get_by_role("radio", name=name).click()
    expect(page.get_by_role("radio", name=name)).to_be_checked()
    wait_until_drawn(page)


def choose(page: Page, label: str, option: str) -> None:
    wait_until_drawn(page)
    page.get_by_label(label, exact=True).click()
    page.get_by_role("option", name=option, exact=True).click()
    expect(page.get_by_label(label, exact=True)).to_have_value(option)
    wait_until_drawn(page)


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()
    wait_until_drawn(page)


def note_coil(page: Page) -> None:
    choose(page, "Suspect", "Coil open (rarely)")
    expect(page.get_by_role("radio", name="rarely")).to_be_checked()
    page.get_by_role("radio", name="often").click()
    expect(page.get_by_role("radio", name="often")).to_be_checked()
    wait_until_drawn(page)
    press(page, "Note this change")
    expect(page.get_by_text("Noted, not saved: 1 row changed.")).to_be_visible()
    expect(page.get_by_label("Suspect", exact=True)).to_have_value("Coil open (often)")


def test_a_link_is_made_stronger_looked_at_saved_and_taken_back(
    browser: Browser, address: str, shop: Settings, screenshots: Path
) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    page = open_vocabulary(context, address)
    note_coil(page)
    press(page, "Look before saving")
    expect(page.get_by_text("Coil open for 'Grab is stuck': from about 1 in 20 to about 3 in 10")).to_be_visible()
    expect(page.get_by_role("button", name="Save", exact=True)).to_be_visible()
    page.screenshot(path=screenshots / "vocabulary-look-390.png", full_page=True)
    press(page, "Save")
    expect(page.get_by_text("Saved. The version before it is kept")).to_be_visible()
    assert read_vocabulary(shop.vocabulary_folder).links["stuck", "coil_open"] == "often"
    press(page, "Undo this save")
    expect(page.get_by_text("is the vocabulary again")).to_be_visible()
    assert read_vocabulary(shop.vocabulary_folder).links["stuck", "coil_open"] == "rarely"
    context.close()


def test_a_cell_of_a_list_is_changed_with_the_keyboard(browser: Browser, address: str, shop: Settings) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = open_vocabulary(context, address)
    choose_part(page, "All lists")
    choose(page, "List", "Machines")
    # the first code below the header; from there on by keys: one cell to the right is the name
    page.locator(".dvn-scroller").click(position={"x": 90, "y": 52})
    expect(page.get_by_test_id("glide-cell-1-0")).to_have_attribute("aria-selected", "true")
    page.keyboard.press("ArrowRight")
    expect(page.get_by_test_id("glide-cell-2-0")).to_have_attribute("aria-selected", "true")
    page.keyboard.press("Enter")
    page.locator("textarea.gdg-input").fill("Claw crane")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Noted, not saved: 1 row changed.")).to_be_visible()
    press(page, "Look before saving")
    expect(page.get_by_text("Machines: 'Claw crane', name from Crane grab to Claw crane.")).to_be_visible()
    press(page, "Save")
    expect(page.get_by_text("Saved. The version before it is kept")).to_be_visible()
    assert read_vocabulary(shop.vocabulary_folder).families["crane"].name == "Claw crane"
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_runs_off_the_side_and_every_input_has_a_name(
    browser: Browser, address: str, screenshots: Path, scheme: str, fits_and_is_named: Callable[[Page], None]
) -> None:
    context = browser.new_context(color_scheme="light" if scheme == "light" else "dark")
    page = open_vocabulary(context, address)
    note_coil(page)
    press(page, "Look before saving")
    expect(page.get_by_role("button", name="Save", exact=True)).to_be_visible()
    for width, height in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        for part, words in PARTS.items():
            choose_part(page, part)
            expect(page.get_by_text(words).first).to_be_visible()
            expect(page.get_by_test_id("stDataFrame")).to_have_count(1 if part == "All lists" else 0)
            # what the part before showed is gone
            expect(page.get_by_text("What would change")).to_have_count(0 if part in WITHOUT_NOTES else 1)
            name = f"vocabulary-{part.lower().replace(' ', '_')}-{scheme}-{width}.png"
            page.screenshot(path=screenshots / name, full_page=True)
            fits_and_is_named(page)
    context.close()
