"""The Tickets page as a person meets it: a list is read in, a row corrected, and found again."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

pytestmark = pytest.mark.browser

WAIT_MS = 30_000
WIDTHS = {1280: 900, 768: 1000, 390: 844}
PARTS = {
    "Look up": "tickets found",
    "Write": "Checks in the order made",
    "Read in": "No fixed form",
    "Correct": "Row to correct",
}
LIST = """Ref,Arrived,Trouble,Complaint,Fault
K-1,2026-03-30,Place found but its actuator does not fire,It gets there and sulks,
K-2,2026-03-31,sings out of tune with the sea,It sings like a marram kettle,
K-3,2026-02-31,Blows its fuse,Bang and dark,
"""


def open_tickets(context: BrowserContext, dashboard: str) -> Page:
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(dashboard)
    expect(page.get_by_role("heading", name="Bench")).to_be_visible()
    page.goto(f"{dashboard}/tickets")
    expect(page.get_by_role("heading", name="Tickets", exact=True)).to_be_visible()
    return page


@pytest.fixture
def page(browser: Browser, dashboard: str) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme="light")
    # with it, Chromium asks where to save and no download is reported
    context.add_init_script("window.showSaveFilePicker = undefined")
    yield open_tickets(context, dashboard)
    context.close()


def wait_until_drawn(page: Page) -> None:
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")


def choose_part(page: Page, name: str) -> None:
    page.get_by_test_id("stButtonGroup").get_by_text(name).click()
    expect(page.get_by_role("radio", name=name)).to_be_checked()
    wait_until_drawn(page)


def choose(page: Page, label: str, option: str) -> None:
    wait_until_drawn(page)
    page.get_by_label(label, exact=True).click()
    page.get_by_role("option", name=option, exact=True).click()
    expect(page.get_by_label(label, exact=True)).to_have_value(option)


def type_new(page: Page, label: str, text: str) -> None:
    wait_until_drawn(page)
    page.get_by_label(label, exact=True).fill(text)
    page.get_by_label(label, exact=True).press("Enter")


def test_a_list_is_read_in_its_bad_row_corrected_and_found(page: Page, screenshots: Path) -> None:
    choose_part(page, "Read in")
    page.locator("input[type=file]").set_input_files(
        {"name": "kettle.csv", "mimeType": "text/csv", "buffer": LIST.encode()}
    )
    expect(page.get_by_text("3 rows, 5 columns")).to_be_visible()
    choose(page, "Ticket number (needed)", "Ref")
    choose(page, "Came in on (needed)", "Arrived")
    choose(page, "What it did wrong (needed)", "Trouble")
    expect(page.get_by_text("No shop is given")).to_be_visible()
    type_new(page, "Workshop, for rows that name none", "Kettle Jetty")
    expect(page.get_by_text("Of 3 rows, 1 can become tickets and 2 would wait")).to_be_visible()
    page.screenshot(path=screenshots / "tickets-import.png", full_page=True)
    page.get_by_role("button", name="Read in 3 rows").click()
    expect(page.get_by_text("rows in 3; stored as tickets 1, in quarantine 2, already known 0")).to_be_visible()

    page.get_by_role("button", name="Correct the rows that wait").click()
    expect(page.get_by_text("No symptom is called 'sings out of tune with the sea'").last).to_be_visible()
    page.get_by_label("What it did wrong (symptom)").fill("Blows its fuse")
    page.get_by_role("button", name="Release this row").click()
    expect(page.get_by_text("Line 3 of kettle.csv is now ticket K-2 of Kettle Jetty.")).to_be_visible()

    choose_part(page, "Look up")
    expect(page.get_by_text("tickets found; these are the 200")).to_be_visible()
    type_new(page, "Words", "marram KETTLE")
    expect(page.get_by_text("1 ticket found.")).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("button", name="Download all 1 ticket as CSV").click()
    rows = download.value.path().read_text(encoding="utf-8").splitlines()
    assert [row.split(",")[:2] for row in rows] == [["ticket", "shop"], ["K-2", "Kettle Jetty"]]


def test_a_ticket_is_written_by_hand(page: Page) -> None:
    choose_part(page, "Write")
    page.get_by_label("Ticket number").fill("K-9")
    type_new(page, "Workshop", "Kettle Jetty")
    choose(page, "What it did wrong", "Blows its fuse")
    page.get_by_role("button", name="Put it with the tickets").click()
    expect(page.get_by_text("Ticket K-9 of Kettle Jetty is stored.")).to_be_visible()
    expect(page.get_by_label("Ticket number")).to_have_value("")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_runs_off_the_side_and_every_input_has_a_name(
    browser: Browser, dashboard: str, screenshots: Path, scheme: str, fits_and_is_named: Callable[[Page], None]
) -> None:
    context = browser.new_context(color_scheme="light" if scheme == "light" else "dark")
    page = open_tickets(context, dashboard)
    for width, height in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        for part, words in PARTS.items():
            choose_part(page, part)
            expect(page.get_by_text(words).first).to_be_visible()
            page.screenshot(
                path=screenshots / f"tickets-{part.split()[0].lower()}-{scheme}-{width}.png", full_page=True
            )
            fits_and_is_named(page)
    context.close()
