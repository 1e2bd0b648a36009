"""The Bench page as a person meets it: in a real browser, at the widths of a desk, a tablet and a telephone."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from pipelines.sessions import read_stored_session
from pipelines.settings import Settings

pytestmark = pytest.mark.browser

WIDTHS = {1280: 900, 768: 1000, 390: 844}
LINK = "?s=place_found_no_action&f=crane_grab&y=1968&h=Saltmarsh+Pier"
WAIT_MS = 30_000


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page that notes every host it asks and every error it meets."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme="light")
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    yield page
    context.close()


def outside_requests(page: Page, dashboard: str) -> list[str]:
    """Fills up with every address asked that is not the dashboard's own."""
    found: list[str] = []
    host = urlsplit(dashboard).netloc

    def note(url: str) -> None:
        if urlsplit(url).scheme in ("http", "https", "ws", "wss") and urlsplit(url).netloc != host:
            found.append(url)

    page.on("request", lambda request: note(request.url))
    page.on("websocket", lambda socket: note(socket.url))
    return found


def suspects_shown(page: Page) -> str:
    """What the chart draws, as text; it changes when the odds do."""
    chart = page.get_by_test_id("stVegaLiteChart").first
    expect(chart.locator("canvas, svg").first).to_be_visible()
    page.get_by_text("All of them in words").click()
    words = page.get_by_test_id("stExpander").filter(has_text="All of them in words").locator("ol")
    expect(words).to_be_visible()
    told = words.inner_text()
    page.get_by_text("All of them in words").click()
    return told


def take_on(page: Page, dashboard: str) -> None:
    """A case looked up by a link, taken on the bench."""
    page.goto(f"{dashboard}/{LINK}")
    page.get_by_role("button", name="Take it on the bench").click()
    expect(page.get_by_role("heading", name="Checked so far")).to_be_visible()


def wait_until_drawn(page: Page) -> None:
    """While a page is drawn anew, what stood there before is still to be seen."""
    expect(page.locator('[data-testid="stApp"][data-test-script-state="notRunning"]')).to_be_visible()


def test_a_machine_from_the_complaint_to_its_ticket(
    page: Page, dashboard: str, demo_shop: Settings, screenshots: Path
) -> None:
    outside, errors = outside_requests(page, dashboard), []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(dashboard)
    page.get_by_label("What it does wrong").click()
    page.get_by_role("option", name="Place found but its actuator does not fire").click()
    expect(page.get_by_role("heading", name=re.compile("^First check"))).to_be_visible()
    expect(page.get_by_text("Local codes and the rules of your trade come first.")).to_be_visible()
    page.screenshot(path=screenshots / "journey-1-looked-up.png", full_page=True)

    page.get_by_label("Your workshop").fill("Gullwick Sands")
    page.get_by_label("Machine, by the name").fill("Grab 7")
    page.get_by_role("button", name="Take it on the bench").click()
    expect(page.get_by_role("heading", name="Checked so far")).to_be_visible()
    wait_until_drawn(page)
    before = suspects_shown(page)
    code = page.url.split("session=")[1]
    page.get_by_label("Minutes it took").fill("4")
    page.get_by_role("button", name=re.compile("^(Clear|Not cured)$")).click()
    expect(page.get_by_role("heading", name=re.compile("^Next check"))).to_be_visible()
    expect(page.get_by_role("heading", name="What that changed")).to_be_visible()
    wait_until_drawn(page)
    after = suspects_shown(page)
    assert after != before
    page.screenshot(path=screenshots / "journey-2-after-a-check.png", full_page=True)

    page.get_by_role("button", name="Undo the last one").click()
    expect(page.get_by_text("Nothing yet.")).to_be_visible()
    wait_until_drawn(page)
    assert suspects_shown(page) == before
    page.get_by_role("button", name=re.compile("^(Clear|Not cured)$")).click()
    expect(page.get_by_role("heading", name="What that changed")).to_be_visible()
    wait_until_drawn(page)

    # tomorrow, on another device
    page.context.clear_cookies()
    page.goto(f"{dashboard}/?session={code}")
    expect(page.get_by_text("Grab 7")).to_be_visible()
    wait_until_drawn(page)
    assert suspects_shown(page) == after
    # a list that is opened while the page is still being drawn closes again
    expect(page.get_by_role("button", name="The same as PDF")).to_be_visible()
    wait_until_drawn(page)
    choice = page.get_by_role("combobox", name="Or make another check")
    choice.click()
    choice.fill("Clean the actuator contacts")
    page.get_by_role("option", name="Clean the actuator contacts").click()
    page.get_by_role("button", name="Cured", exact=True).click()
    expect(page.get_by_text("It works. Run the machine")).to_be_visible()
    wait_until_drawn(page)
    with page.expect_download() as card:
        page.get_by_role("button", name="Bench card to print").click()
    assert code in Path(card.value.path()).read_text(encoding="utf-8")
    page.screenshot(path=screenshots / "journey-3-it-works.png", full_page=True)

    page.get_by_role("button", name="Write the ticket").click()
    expect(page.get_by_text("is written, and counts in the odds from now on")).to_be_visible()
    page.screenshot(path=screenshots / "journey-4-written.png", full_page=True)
    assert read_stored_session(demo_shop.store_path, code).ticket_id
    page.get_by_role("button", name="Next machine").click()
    expect(page.get_by_text("Begin with")).to_be_visible()
    assert outside == []
    assert errors == []


def test_the_page_can_be_worked_from_the_keyboard(page: Page, dashboard: str) -> None:
    take_on(page, dashboard)
    answer = page.get_by_role("button", name="Could not tell")
    expect(answer).to_be_visible()
    for _ in range(40):
        page.keyboard.press("Tab")
        if answer.evaluate("button => button === document.activeElement"):
            break
    else:
        pytest.fail("Tab does not reach the answer buttons.")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What that changed")).to_be_visible()


def test_every_input_has_a_label(page: Page, dashboard: str, fits_and_is_named: Callable[[Page], None]) -> None:
    take_on(page, dashboard)
    expect(page.get_by_role("button", name="Could not tell")).to_be_visible()
    fits_and_is_named(page)


@pytest.mark.parametrize(
    ("place", "button"), [("case", "Take it on the bench"), ("session", "Could not tell")], ids=["case", "session"]
)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_runs_off_the_side_of_any_screen(
    browser: Browser, dashboard: str, screenshots: Path, scheme: str, place: str, button: str
) -> None:
    context = browser.new_context(color_scheme="light" if scheme == "light" else "dark")
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    address = LINK
    if place == "session":
        take_on(page, dashboard)
        address = f"?session={page.url.split('session=')[1]}"
    for width, height in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        page.goto(f"{dashboard}/{address}")
        expect(page.get_by_role("button", name=button)).to_be_visible()
        expect(page.get_by_test_id("stVegaLiteChart").locator("canvas, svg").first).to_be_visible()
        page.screenshot(path=screenshots / f"bench-{place}-{scheme}-{width}.png")
        too_wide = page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth - window.innerWidth")
        assert too_wide <= 0
    context.close()
