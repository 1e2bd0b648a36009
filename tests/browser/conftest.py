"""A running dashboard on the invented demo tickets, and a browser to look at it with."""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from analytics.posterior import Posterior
from dashboards.background_fit import BY_HAND, REFIT_VARIABLE
from pipelines.catalogue import read_vocabulary
from pipelines.cli_history import ingest_files
from pipelines.invented import demo_files
from pipelines.posteriors import FitRow, save_posterior
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.store import last_ticket_order, reading

APP = Path(__file__).resolve().parents[2] / "dashboards" / "app.py"
START_SECONDS = 60
# A cold server compiles the planner at the first answer, and a test machine may be busy with other tests.
expect.set_options(timeout=30_000)
QUIET = "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
QUIET += " --disable-component-update --disable-sync"


@pytest.fixture(scope="session")
def demo_shop(tmp_path_factory: pytest.TempPathFactory, make_posterior: Callable[..., Posterior]) -> Settings:
    """The demo tickets with draws around the seeded odds: as good as a fit for looking at pages, and made at once."""
    settings = Settings(tmp_path_factory.mktemp("demo_shop"))
    ingest_files(settings, demo_files())
    shops = tuple(shop for _, shop, _ in demo_files())
    # Remedies have no false alarm: the log odds of 0, and 0 again.
    with np.errstate(divide="ignore", over="ignore"):
        posterior = make_posterior(read_vocabulary(settings.vocabulary_folder), draw_count=200, shops=shops)
    with reading(settings.store_path) as con:
        last = last_ticket_order(con)
    row = FitRow("hand-made", datetime.now(UTC), "", "", "", seconds=0.0, last_order=last)
    save_posterior(settings, posterior, row)
    return settings


@pytest.fixture(scope="session")
def dashboard(demo_shop: Settings) -> Iterator[str]:
    """Address of a server on the demo shop."""
    with _served(demo_shop) as address:
        yield address


@pytest.fixture(scope="session")
def serve_shop() -> Callable[[Settings], AbstractContextManager[str]]:
    """`with serve_shop(settings) as address`: a server on a shop of the test's own."""
    return _served


@contextmanager
def _served(shop: Settings) -> Iterator[str]:
    """Address of a server of our own on a free port; it is stopped by its own number."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    command = [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(APP),
        "--server.port",
        str(port),
        "--server.headless",
        "true",
    ]
    environment = {**os.environ, DATA_VARIABLE: str(shop.data_folder), REFIT_VARIABLE: BY_HAND}
    log = shop.data_folder / "server.log"
    with log.open("w") as out:
        server = subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=out)
    try:
        wait_until_healthy(address, server, log)
        yield address
    finally:
        server.terminate()
        server.wait(timeout=20)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The Chromium of this machine; no other browser is downloaded."""
    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if program is None:
        pytest.fail("The browser tests need Chromium on the PATH. Install it, or leave them out with -m 'not browser'.")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=QUIET.split())
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def screenshots() -> Path:
    """Where pictures of the pages are left for people to look at."""
    folder = Path(tempfile.gettempdir()) / "faultodds-screenshots"
    folder.mkdir(exist_ok=True)
    return folder


def wait_until_healthy(address: str, server: "subprocess.Popen[bytes]", log: Path) -> None:
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    pytest.fail(f"The dashboard did not start within {START_SECONDS} s. It said: {log.read_text()[-2000:]}")


@pytest.fixture(scope="session")
def fits_and_is_named() -> Callable[[Page], None]:
    """Nothing of a page runs off its side, and every input and button has a name."""
    return _assert_fits_and_is_named


def _assert_fits_and_is_named(page: Page) -> None:
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth - window.innerWidth") <= 0
    inputs = page.locator("[data-testid=stMain] :is(input, textarea, button):not([tabindex='-1']):visible")
    unnamed = inputs.evaluate_all(
        "all => all.filter(one => !(one.ariaLabel || one.innerText || (one.labels && one.labels.length)"
        " || one.getAttribute('aria-labelledby'))).map(one => one.outerHTML.slice(0, 160))"
    )
    assert unnamed == []
