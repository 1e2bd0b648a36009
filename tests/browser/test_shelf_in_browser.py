"""The shelf as a person meets it: what is used, a list that is saved, an order list taken along, a donor weighed."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.intake import save_ticket
from pipelines.settings import Settings
from pipelines.shelf_files import PART_COLUMNS, parts_path

pytestmark = pytest.mark.browser

WIDTHS = {1280: 900, 390: 844}


@pytest.fixture
def address(
    tmp_path: Path, tiny_vocabulary: Vocabulary, serve_shop: Callable[[Settings], AbstractContextManager[str]]
) -> Iterator[str]:
    """A shop that used a coil on each of ten tickets and has none on the shelf."""
    coil = replace(tiny_vocabulary.checks["replace_coil"], part="coil")
    vocabulary = replace(tiny_vocabulary, checks={**tiny_vocabulary.checks, "replace_coil": coil})
    settings = Settings(tmp_path)
    write_vocabulary(vocabulary, tmp_path / "vocabulary")
    for at in range(10):
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(at),
            opened_on=date(2024, 5, 1) + timedelta(40 * at),
            symptom="stuck",
            family="crane",
            suspects=("coil_open",),
            confirmation="cured",
            result="fixed",
        )
        save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=date(2026, 11, 25))
    parts_path(settings).write_text(f"{','.join(PART_COLUMNS)}\ncoil,0,0,12.50,60,\n", encoding="utf-8")
    with serve_shop(settings) as served:
        yield served


def open_part(page: Page, address: str, name: str) -> None:
    page.goto(f"{address}/shop")
    page.get_by_test_id("stButtonGroup").first.get_by_text(name).click()
    expect(page.get_by_role("radio", name=name)).to_be_checked()
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_order_list_is_taken_along_and_nothing_scrolls_sideways(
    browser: Browser, address: str, screenshots: Path, scheme: str
) -> None:
    for width, height in WIDTHS.items():
        context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
        page = context.new_page()
        for part, heading in (("The shelf", "Your list of parts"), ("Donors", "Does a donor on offer pay?")):
            open_part(page, address, part)
            expect(page.get_by_role("heading", name=heading)).to_be_visible()
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
            page.screenshot(path=screenshots / f"shop_{part.split()[-1].lower()}_{width}_{scheme}.png")
        open_part(page, address, "The shelf")
        page.get_by_role("button", name="Save the list").click()
        expect(page.get_by_text("The list says something of 1 part.")).to_be_visible()
        with page.expect_download() as taken:
            page.get_by_role("button", name="The order list as a file").click()
        lines = Path(taken.value.path()).read_text(encoding="utf-8").splitlines()
        assert lines[0].startswith("part,to order,cost")
        assert lines[1].startswith("coil,")
        assert int(lines[1].split(",")[1]) > 0
        open_part(page, address, "Donors")
        page.get_by_role("button", name="Weigh the offer").click()
        expect(page.get_by_text("No assembly of the donor was named as good.")).to_be_visible()
        context.close()
