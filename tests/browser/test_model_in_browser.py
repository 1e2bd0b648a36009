"""The Model page as a person meets it: a fit is started by hand, watched, and used; every part fits every screen."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.intake import save_ticket
from pipelines.posteriors import list_fits
from pipelines.settings import Settings

pytestmark = pytest.mark.browser

WAIT_MS = 30_000
FIT_MS = 240_000
WIDTHS = {1280: 900, 768: 1000, 390: 844}
PARTS = {
    "The fit": "Tickets since that fit",
    "Was it right?": "On tickets it had not seen",
    "Learnt": "What age does",
    "Checks": "The suspects by number",
}
PIECES = {"The fit": 0, "Was it right?": 0, "Learnt": 2, "Checks": 1}


def open_model(page: Page, address: str) -> None:
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{address}/model")
    expect(page.get_by_role("heading", name="Model", exact=True)).to_be_visible()
    wait_until_drawn(page)


def wait_until_drawn(page: Page) -> None:
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")


def choose_part(page: Page, name: str) -> None:
    page.get_by_test_id("stButtonGroup").first.get_by_text(name).click()
    expect(page.get_by_role("radio", name=name)).to_be_checked()
    wait_until_drawn(page)


@pytest.fixture
def small_shop(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Settings:
    """Twelve tickets and no fit: one takes seconds."""
    settings = Settings(tmp_path)
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    for at, suspect in enumerate(4 * ("plug_loose", "switch_dirty", "coil_open")):
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(at),
            opened_on=date(2020, 5, 1) + timedelta(at),
            symptom="stuck",
            suspects=(suspect,),
        )
        save_ticket(ticket, store_path=settings.store_path, vocabulary=tiny_vocabulary, today=date(2026, 11, 25))
    return settings


@pytest.mark.slow
def test_the_first_fit_is_started_watched_and_in_use(
    browser: Browser,
    small_shop: Settings,
    serve_shop: Callable[[Settings], AbstractContextManager[str]],
    screenshots: Path,
) -> None:
    with serve_shop(small_shop) as address:
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        errors: list[str] = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        # a link straight to this page, on a server that nobody has visited yet
        page.goto(f"{address}/model")
        expect(page.get_by_text("Start the first fit on this page")).to_be_visible()
        expect(page.get_by_test_id("stSidebarNav")).to_have_count(0)
        page.screenshot(path=screenshots / "model-journey-1-no-fit.png", full_page=True)
        # twice, as impatient people press
        page.get_by_role("button", name="Start a fit").dblclick()
        expect(page.get_by_text("of 100 done")).to_be_visible()
        expect(page.get_by_role("button", name="Start a fit")).to_have_count(0)
        page.screenshot(path=screenshots / "model-journey-2-running.png", full_page=True)
        expect(page.get_by_text("The new fit is in use from now on.")).to_be_visible(timeout=FIT_MS)
        expect(page.get_by_text("It holds: every answer on the bench comes from it.")).to_be_visible()
        page.screenshot(path=screenshots / "model-journey-3-in-use.png", full_page=True)
        assert list_fits(small_shop)["published"].tolist() == [True]
        page.goto(f"{address}/?s=stuck")
        expect(page.get_by_text("All of them in words")).to_be_visible(timeout=WAIT_MS)
        assert errors == []
        page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_runs_off_the_side_and_every_input_has_a_name(
    browser: Browser, dashboard: str, screenshots: Path, scheme: str, fits_and_is_named: Callable[[Page], None]
) -> None:
    context = browser.new_context(color_scheme="light" if scheme == "light" else "dark")
    page = context.new_page()
    open_model(page, dashboard)
    for width, height in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        for part, words in PARTS.items():
            choose_part(page, part)
            expect(page.get_by_text(words).first).to_be_visible()
            expect(page.get_by_test_id("stVegaLiteChart").locator("canvas, svg")).to_have_count(PIECES[part])
            page.screenshot(path=screenshots / f"model-{part.split()[-1].strip('?')}-{scheme}-{width}.png")
            fits_and_is_named(page)
    context.close()
