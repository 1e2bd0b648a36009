"""The door of the dashboard: who gets in, what they see, and how often one may try."""

import subprocess
import sys
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.access_people import name_person
from pipelines.access_phrases import set_phrase
from pipelines.access_provider import find_provider, forget_provider, refuse_lost_way, set_provider
from pipelines.catalogue import write_vocabulary
from pipelines.cli import main
from pipelines.dashboard_server import dashboard_command
from pipelines.serving import Place
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.sign_in_rules import is_door_needed, is_set_up, refuse_open_door, role_of_user, try_phrase

pytestmark = pytest.mark.slow

APP = Path(__file__).resolve().parents[2] / "dashboards" / "app.py"
PHRASES = {"technician": "three wet pianos", "lead": "seven dry organs", "club": "nine red balloons"}
PROVIDER = """[auth]
redirect_uri = "https://bench.workshop.example/oauth2callback"
cookie_secret = "kept, and longer than anybody would guess"
client_id = "bench"
client_secret = "kept too"
server_metadata_url = "https://door.workshop.example/.well-known/openid-configuration"
"""


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_vocabulary: Vocabulary) -> Settings:
    """A data folder without a store."""
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    return Settings(tmp_path)


@pytest.fixture
def guarded(shop: Settings) -> Settings:
    """The same with a pass phrase for each role."""
    for role, phrase in PHRASES.items():
        set_phrase(shop, role, phrase)
    return shop


def open_app() -> AppTest:
    page = AppTest.from_file(str(APP), default_timeout=30).run()
    assert not page.exception
    return page


def sign_in(page: AppTest, phrase: str) -> AppTest:
    page.text_input(key="door_phrase").set_value(phrase)
    page.button(key="door_enter").click().run()
    assert not page.exception
    return page


def titles(page: AppTest) -> list[str]:
    return [title.value for title in page.title]


@pytest.mark.usefixtures("guarded")
def test_nothing_is_shown_before_the_sign_in() -> None:
    page = open_app()
    assert titles(page) == ["Sign in"]
    assert [button.label for button in page.button] == ["Sign in"]


@pytest.mark.usefixtures("guarded")
@pytest.mark.parametrize(("role", "first"), [("technician", "Bench"), ("lead", "Bench"), ("club", "Shop")])
def test_the_phrase_of_a_role_opens_its_pages(role: str, first: str) -> None:
    page = sign_in(open_app(), PHRASES[role])
    assert titles(page) == [first]
    assert any(f"Signed in: {role}." in caption.value for caption in page.caption)


@pytest.mark.usefixtures("guarded")
def test_a_wrong_phrase_opens_nothing_and_is_forgotten() -> None:
    page = sign_in(open_app(), "three wet piano")
    assert titles(page) == ["Sign in"]
    assert "opens nothing" in page.error[0].value
    assert page.text_input(key="door_phrase").value == ""
    assert titles(sign_in(page, PHRASES["technician"])) == ["Bench"]


@pytest.mark.usefixtures("guarded")
def test_signing_out_shuts_the_door() -> None:
    page = sign_in(open_app(), PHRASES["lead"])
    assert titles(page.button(key="door_leave").click().run()) == ["Sign in"]


def test_a_changed_phrase_sends_those_inside_back_to_the_door(guarded: Settings) -> None:
    page = sign_in(open_app(), PHRASES["lead"])
    set_phrase(guarded, "lead", "eight old drums now")
    assert titles(page.run()) == ["Sign in"]


def test_after_five_wrong_tries_even_the_right_one_waits(guarded: Settings) -> None:
    for _ in range(5):
        with pytest.raises(InputError, match="opens nothing"):
            try_phrase(guarded, "not this phrase", "192.0.2.7")
    with pytest.raises(InputError, match=r"Too many wrong pass phrases\. Wait \d+ s"):
        try_phrase(guarded, PHRASES["lead"], "192.0.2.7")
    assert try_phrase(guarded, PHRASES["lead"], "192.0.2.8") == "lead"


def test_many_addresses_are_one_stranger(guarded: Settings) -> None:
    for at in range(30):
        with pytest.raises(InputError, match="opens nothing"):
            try_phrase(guarded, "x" * 300, f"198.51.100.{at}")
    with pytest.raises(InputError, match="Too many wrong"):
        try_phrase(guarded, PHRASES["lead"], "203.0.113.1")


@pytest.mark.usefixtures("shop")
def test_no_sign_in_and_an_unknown_address_leave_the_door_shut(monkeypatch: pytest.MonkeyPatch) -> None:
    option = st.get_option
    monkeypatch.setattr(st, "get_option", lambda name: "0.0.0.0" if name == "server.address" else option(name))
    page = open_app()
    assert titles(page) == ["Sign in"]
    assert "it stays shut" in page.error[0].value
    assert not page.text_input


@pytest.mark.usefixtures("shop")
def test_at_the_machine_itself_nothing_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    option = st.get_option
    monkeypatch.setattr(st, "get_option", lambda name: "127.0.0.1" if name == "server.address" else option(name))
    page = open_app()
    assert titles(page) == ["Bench"]
    assert not any("Signed in" in caption.value for caption in page.caption)


def test_a_damaged_file_of_phrases_lets_nobody_in(guarded: Settings) -> None:
    path = guarded.data_folder / "access" / "phrases.json"
    path.write_text('{"role": "lead"}')
    page = open_app()
    assert titles(page) == ["Sign in"]
    assert "is not what faultodds wrote" in page.error[0].value


def test_phrases_are_kept_as_argon2id_for_their_owner_only(guarded: Settings) -> None:
    path = guarded.data_folder / "access" / "phrases.json"
    text = path.read_text()
    # "$argon2id$": RFC 9106 names the variant; the encoding is that of its reference implementation.
    assert text.count("$argon2id$v=19$") == 3
    assert not any(phrase in text for phrase in PHRASES.values())
    assert path.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(
    ("role", "phrase", "says"),
    [
        ("lead", "short", "12 to 200 characters; this one has 5"),
        ("lead", "three wet pianos", "Another role has this pass phrase"),
        ("boss", "a phrase long enough", "'boss' is no role"),
    ],
)
def test_a_phrase_that_cannot_be_is_refused(guarded: Settings, role: str, phrase: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as refused:
        set_phrase(guarded, role, phrase)
    assert phrase not in str(refused.value)


def test_the_server_refuses_to_be_open_to_all(shop: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["--data", str(shop.data_folder), "serve", "--address", "0.0.0.0", "--port", "8872"])
    assert stop.value.code == 1
    assert "would let anybody on the network in" in capsys.readouterr().err


def test_with_a_phrase_it_serves_beyond_this_machine_under_its_own_names_only(guarded: Settings) -> None:
    place = Place("0.0.0.0", 8872, host_names=("bench.workshop.example",))
    refuse_open_door(guarded, place)
    command = dashboard_command(guarded, place)
    allowed = [after for flag, after in pairwise(command) if flag == "--server.allowedHosts"]
    assert allowed == ["127.0.0.1", "localhost", "bench.workshop.example"]
    assert not any(phrase in " ".join(command) for phrase in PHRASES.values())


def test_a_provider_gives_roles_by_confirmed_addresses(shop: Settings) -> None:
    secrets = shop.data_folder / "access" / "secrets.toml"
    name_person(shop, "Ann@Workshop.example", "lead")
    assert not is_door_needed(shop, "127.0.0.1")
    secrets.write_text(PROVIDER)
    secrets.chmod(0o600)
    assert is_door_needed(shop, "127.0.0.1")
    assert role_of_user(shop, {"email": "ann@workshop.example", "email_verified": True}) == "lead"
    # OpenID Connect Core 1.0, section 5.1: email_verified is a JSON boolean
    for stated in ({"email_verified": False}, {"email_verified": "true"}, {}):
        assert role_of_user(shop, {"email": "ann@workshop.example", **stated}) == ""
    assert role_of_user(shop, {"email": "bob@workshop.example", "email_verified": True}) == ""
    assert role_of_user(shop, {"email_verified": True}) == ""
    page = open_app()
    # this server was started without the file
    assert "start it again" in page.error[0].value
    assert not page.button
    secrets.write_text(PROVIDER.replace("cookie_secret", "cookie"))
    with pytest.raises(InputError, match="has no cookie_secret"):
        is_door_needed(shop, "127.0.0.1")
    secrets.chmod(0o640)
    with pytest.raises(InputError, match="can be read by other accounts"):
        is_door_needed(shop, "127.0.0.1")


@pytest.mark.parametrize(
    ("written", "instead", "says"),
    [
        ('cookie_secret = "kept, and longer than anybody would guess"', 'cookie_secret = "kept"', "takes 32 or more"),
        ("/oauth2callback", "/callback", "must end with /oauth2callback"),
        ("https://bench", "http://bench", "bench.workshop.example is not encrypted"),
        ("https://door", "http://door", "is not encrypted"),
        ("https://door.workshop.example", "door", "is no address of the provider"),
        ('client_id = "bench"', 'client_id = ""', "client_id cannot be"),
    ],
)
def test_a_provider_that_would_let_strangers_in_is_refused(
    shop: Settings, written: str, instead: str, says: str
) -> None:
    secrets = shop.data_folder / "access" / "secrets.toml"
    secrets.parent.mkdir()
    secrets.write_text(PROVIDER.replace(written, instead))
    secrets.chmod(0o600)
    with pytest.raises(InputError, match=says):
        find_provider(shop)


def test_the_provider_must_send_people_to_a_name_that_is_served(shop: Settings) -> None:
    set_provider(
        shop,
        dashboard="https://bench.workshop.example/",
        metadata_url="https://door.workshop.example/.well-known/openid-configuration",
        client_id="bench",
        client_secret='a "quoted" \\ one',
    )
    with pytest.raises(InputError, match=r"Add --host-name bench\.workshop\.example"):
        refuse_lost_way(shop, Place("0.0.0.0", 8872, host_names=("192.168.1.20",)))
    refuse_lost_way(shop, Place("0.0.0.0", 8872, host_names=("bench.workshop.example",)))
    place = shop.data_folder / "access" / "secrets.toml"
    assert tomllib.loads(place.read_text())["auth"]["client_secret"] == 'a "quoted" \\ one'
    assert place.stat().st_mode & 0o777 == 0o600
    forget_provider(shop)
    assert not is_set_up(shop)


@pytest.mark.usefixtures("guarded")
def test_what_is_typed_reaches_no_log() -> None:
    script = (
        "import logging; logging.basicConfig(level=logging.DEBUG)\n"
        "from streamlit.testing.v1 import AppTest\n"
        f"page = AppTest.from_file({str(APP)!r}, default_timeout=30).run()\n"
        "page.text_input(key='door_phrase').set_value('wrong-but-secret')\n"
        "page.button(key='door_enter').click().run()\n"
        "assert page.error and not page.exception\n"
        f"page.text_input(key='door_phrase').set_value({PHRASES['lead']!r})\n"
        "page.button(key='door_enter').click().run()\n"
        "assert page.title[0].value == 'Bench', page\n"
    )
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=120)
    assert "wrong-but-secret" not in told.stdout + told.stderr
    assert PHRASES["lead"] not in told.stdout + told.stderr
