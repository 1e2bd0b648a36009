"""Sign-in through an identity provider, as the README sets it up: roles, refusals, forged answers, sign-out."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from click.testing import CliRunner
from playwright.sync_api import Browser, Page, expect

from dashboards.background_fit import BY_HAND, REFIT_VARIABLE
from pipelines.cli import faultodds
from pipelines.settings import Settings

pytestmark = pytest.mark.browser

PROVIDER = Path(__file__).with_name("oidc_provider.py")
BUTTON = "Sign in with the workshop's account"
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
SECRET = "only the two of us / know + this: 100 %"
# Whose token it is, and what the server's log says of it.
FORGED = {
    "another key": "bad_signature",
    "the public key": "Algorithm of 'HS256' is not allowed",
    "nobody": "Algorithm of 'none' is not allowed",
    "another issuer": "Invalid claim: 'iss'",
    # for an audience that is not the client the library wants a second claim that names it
    "another client": "Missing claim: 'azp'",
    "too old": "The token is expired",
    "another sign-in": "Invalid claim: 'nonce'",
}


def account(label: str, email: str, *, signed_by: str = "honest", **claims: object) -> dict[str, object]:
    """Core 1.0, section 5.1: the claims of a person."""
    told = {"email": email, "email_verified": True, **claims}
    stated = {name: value for name, value in told.items() if value is not None}
    return {"label": label, "signed_by": signed_by, "claims": stated}


# Ann has a role, and everybody else would like it.
ACCOUNTS = [
    account("Ann", "Ann@workshop.example"),
    account("Bob", "bob@workshop.example"),
    account("Ann unconfirmed", "ann@workshop.example", email_verified=False),
    account("Ann unstated", "ann@workshop.example", email_verified=None),
    *(account(f"Ann by {hand}", "ann@workshop.example", signed_by=hand) for hand in FORGED),
]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, demo_shop: Settings) -> Settings:
    """A copy of the demo shop, whose access the test sets up."""
    folder = tmp_path_factory.mktemp("provided") / "shop"
    shutil.copytree(demo_shop.data_folder, folder)
    return Settings(folder)


@pytest.fixture(scope="module")
def guarded(shop: Settings) -> Iterator[str]:
    """Address of `faultodds serve` on that shop, with the provider set up by the README's commands."""
    port, issuer = free_port(), f"http://localhost:{free_port()}"
    dashboard = f"http://localhost:{port}"
    metadata = f"{issuer}/.well-known/openid-configuration"
    back = access(shop, "provider", "--dashboard", dashboard, "--metadata", metadata, "--client-id", "bench",
                  typed=f"{SECRET}\n")  # fmt: skip
    access(shop, "person", "ann@workshop.example", "--role", "technician")
    # what the first command prints is what the provider is told
    redirect_uri = back.split()[1]
    told = {"issuer": issuer, "client_id": "bench", "client_secret": SECRET, "redirect_uri": redirect_uri}
    serve = [
        "-c",
        "from pipelines.cli import main; main()",
        "--data",
        str(shop.data_folder),
        "serve",
        "--port",
        str(port),
    ]
    log = shop.data_folder / "server.log"
    with (
        running([str(PROVIDER)], metadata, shop.data_folder / "provider.log", typed={**told, "accounts": ACCOUNTS}),
        running(serve, f"{dashboard}/_stcore/health", log),
    ):
        yield dashboard


def access(shop: Settings, *words: str, typed: str = "") -> str:
    done = CliRunner().invoke(faultodds, ["--data", str(shop.data_folder), "access", *words], input=typed)
    assert done.exception is None, done.exception
    assert SECRET not in done.output
    return done.stdout


@contextmanager
def running(words: list[str], ready: str, log: Path, *, typed: object = None) -> Iterator[None]:
    """A program of its own until the block ends; it is stopped by its own number."""
    with log.open("w") as out:
        program = subprocess.Popen(
            [sys.executable, *words], env={**os.environ, REFIT_VARIABLE: BY_HAND}, text=True,
            stdin=subprocess.PIPE, stdout=out, stderr=out,
        )  # fmt: skip
    assert program.stdin is not None
    json.dump(typed, program.stdin)
    program.stdin.close()
    try:
        wait_for(ready, program, log)
        yield
    finally:
        program.send_signal(signal.SIGTERM)
        program.wait(timeout=20)


def wait_for(address: str, program: "subprocess.Popen[str]", log: Path) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and program.poll() is None:
        try:
            with urllib.request.urlopen(address, timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail(f"It did not start. It said: {log.read_text()[-2000:]}")


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def page(browser: Browser, guarded: str) -> Iterator[Page]:
    """A stranger's browser at the door."""
    context = browser.new_context(viewport={"width": 1280, "height": 844})
    page = context.new_page()
    page.goto(guarded)
    yield page
    context.close()


def sign_in_as(page: Page, label: str) -> None:
    page.get_by_role("button", name=BUTTON).click()
    page.get_by_role("link", name=label, exact=True).click()


def user_cookies(page: Page) -> list[str]:
    return [cookie["name"] for cookie in page.context.cookies() if "user" in cookie.get("name", "")]


def assert_outside(page: Page) -> None:
    expect(page.get_by_role("heading", name="Sign in", exact=True)).to_be_visible()
    expect(page.get_by_role("link", name="Tickets")).to_have_count(0)


def test_who_has_a_role_gets_its_pages_as_long_as_the_role_lasts(page: Page, shop: Settings, screenshots: Path) -> None:
    expect(page.get_by_role("button", name=BUTTON)).to_be_visible()
    assert_outside(page)
    page.screenshot(path=screenshots / "provider_door_1280.png")
    page.get_by_role("button", name=BUTTON).click()
    # a nonce (Core 1.0, section 3.1.2.1) and a challenge (RFC 7636, section 4.3), both of which are checked later
    asked = page.get_by_role("link", name="Ann", exact=True).get_attribute("href") or ""
    assert {"nonce", "state", "code_challenge"} <= {part.partition("=")[0] for part in asked.split("&")}
    page.get_by_role("link", name="Ann", exact=True).click()
    expect(page.get_by_text("Signed in: technician.")).to_be_visible()
    expect(page.get_by_role("link", name="Tickets")).to_be_visible()
    expect(page.get_by_role("link", name="Vocabulary")).to_have_count(0)
    access(shop, "person", "ann@workshop.example", "--role", "lead")
    page.reload()
    expect(page.get_by_role("link", name="Vocabulary")).to_be_visible()
    access(shop, "person", "ann@workshop.example", "--forget")
    page.reload()
    expect(page.get_by_text("has no role here")).to_be_visible()
    assert_outside(page)
    access(shop, "person", "ann@workshop.example", "--role", "technician")


def test_signing_out_holds_and_lets_somebody_else_sign_in(page: Page) -> None:
    sign_in_as(page, "Ann")
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()
    assert user_cookies(page)
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("button", name=BUTTON)).to_be_visible()
    page.reload()
    expect(page.get_by_role("button", name=BUTTON)).to_be_visible()
    assert user_cookies(page) == []
    sign_in_as(page, "Bob")
    expect(page.get_by_text("bob@workshop.example")).to_be_visible()


@pytest.mark.parametrize(
    ("label", "says"),
    [
        ("Bob", "You are signed in as bob@workshop.example, but this address has no role here."),
        ("Ann unconfirmed", "does not say that this address is confirmed"),
        ("Ann unstated", "does not say that this address is confirmed"),
    ],
)
def test_nobody_else_gets_a_page_but_a_reason(page: Page, label: str, says: str, screenshots: Path) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    sign_in_as(page, label)
    expect(page.get_by_text(says)).to_be_visible()
    assert_outside(page)
    page.screenshot(path=screenshots / f"provider_{label.lower().replace(' ', '_')}_390.png")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    found = Axe().run(page, options=RULES).response["violations"]
    assert [f"{rule['id']}: {rule['help']}" for rule in found if rule["impact"] in ("serious", "critical")] == []
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("button", name=BUTTON)).to_be_visible()


def test_a_forged_token_opens_nothing(page: Page, shop: Settings) -> None:
    """Core 1.0, section 3.1.3.7: a client refuses an ID token whose signature, iss, aud, exp or nonce is not right."""
    log = shop.data_folder / "server.log"
    for hand, reason in FORGED.items():
        before = len(log.read_text())
        sign_in_as(page, f"Ann by {hand}")
        expect(page.get_by_role("button", name=BUTTON)).to_be_visible()
        assert_outside(page)
        assert user_cookies(page) == []
        assert reason in log.read_text()[before:], hand
    assert SECRET not in log.read_text()


def test_who_turns_back_at_the_provider_is_at_the_door_again(page: Page) -> None:
    """Core 1.0, section 3.1.2.6: access_denied."""
    sign_in_as(page, "Nobody")
    expect(page.get_by_role("button", name=BUTTON)).to_be_visible()
    assert_outside(page)
