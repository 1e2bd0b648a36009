"""How long a person waits, on a history of 200,000 tickets: from opening a link, and from pressing an outcome."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from datetime import UTC, datetime

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect

from analytics.posterior import Posterior
from benchmarks.large_store import SHOPS, make_large_store
from pipelines.catalogue import read_vocabulary
from pipelines.posteriors import FitRow, save_posterior
from pipelines.settings import Settings
from pipelines.store import last_ticket_order, reading

pytestmark = [pytest.mark.browser, pytest.mark.slow]

# The first presses, which find the server cold, are not counted.
TICKETS, OPENINGS, COLD, PRESSES = 200_000, 5, 2, 40
LINK = "?s=place_found_no_action&f=crane_grab&y=1968"
# Bars of the design: 2 s to the first useful paint, 300 ms at the 95th percentile to the new ranking. Both are printed.
# A test machine may have other work: it fails when the usual opening or press takes twice as long.
OPEN_SECONDS, PRESS_MS, BUSY = 2.0, 300.0, 2.0
# Nobody presses before having looked at what the last press brought.
LOOK_MS = 1000
PRESS = """name => new Promise(done => {
  const app = document.querySelector('[data-testid=stApp]'), begun = performance.now(); let ran = false;
  const look = () => {
    const state = app.getAttribute('data-test-script-state');
    ran = ran || state !== 'notRunning';
    if (ran && state === 'notRunning') requestAnimationFrame(() => done(performance.now() - begun));
    else requestAnimationFrame(look);
  };
  [...document.querySelectorAll('button')].find(one => one.innerText.trim() === name).click();
  look();
})"""


@pytest.fixture(scope="module")
def address(
    tmp_path_factory: pytest.TempPathFactory,
    make_posterior: Callable[..., Posterior],
    serve_shop: Callable[[Settings], AbstractContextManager[str]],
) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("large_shop")
    settings = Settings(folder / "data")
    make_large_store(settings, tickets=TICKETS, folder=folder / "files")
    with np.errstate(divide="ignore", over="ignore"):
        posterior = make_posterior(read_vocabulary(settings.vocabulary_folder), draw_count=600, shops=tuple(SHOPS))
    with reading(settings.store_path) as con:
        last = last_ticket_order(con)
    assert last > 0.9 * TICKETS
    row = FitRow("hand-made", datetime.now(UTC), "", "", "", seconds=0.0, last_order=last)
    save_posterior(settings, posterior, row)
    with serve_shop(settings) as served:
        yield served


def open_case(page: Page, address: str) -> float:
    """Seconds to the suspects of a case."""
    begun = datetime.now(UTC)
    page.goto(f"{address}/{LINK}")
    expect(page.get_by_test_id("stVegaLiteChart").first.locator("canvas, svg").first).to_be_visible()
    return (datetime.now(UTC) - begun).total_seconds()


def test_nobody_waits(browser: Browser, address: str) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    open_case(page, address)  # the server warms up
    openings = [open_case(page, address) for _ in range(OPENINGS)]
    page.get_by_label("Your workshop").fill("Harbour 1")
    page.get_by_role("button", name="Take it on the bench").click()
    expect(page.get_by_role("heading", name="Checked so far")).to_be_visible()
    presses = []
    for at in range(COLD + PRESSES):
        name = "Undo the last one" if at % 2 else "Could not tell"
        expect(page.get_by_role("button", name=name)).to_be_visible()
        expect(page.locator('[data-testid="stApp"][data-test-script-state="notRunning"]')).to_be_visible()
        page.wait_for_timeout(LOOK_MS)
        presses.append(float(page.evaluate(PRESS, name)))
    page.close()
    paint, press = float(np.median(openings)), float(np.median(presses[COLD:]))
    print(f"\nfirst paint {paint:.2f} s (median of {OPENINGS}); press to paint {press:.0f} ms median, "
          f"{np.quantile(presses[COLD:], 0.95):.0f} ms p95 of {PRESSES}, {TICKETS:,} tickets")  # fmt: skip
    assert paint < BUSY * OPEN_SECONDS
    assert press < BUSY * PRESS_MS
