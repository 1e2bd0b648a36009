"""The verbs `token` and `access`: what they show once, what they keep, and what they never say."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from analytics.errors import InputError
from pipelines.access_phrases import role_of_phrase
from pipelines.access_tokens import find_token
from pipelines.cli import faultodds
from pipelines.settings import Settings

PHRASE = "three wet pianos"


def run(folder: Path, *words: str, typed: str = "") -> Result:
    return CliRunner().invoke(faultodds, ["--data", str(folder), *words], input=typed)


def test_a_token_is_shown_once_and_alone_on_standard_output(tmp_path: Path) -> None:
    made = run(tmp_path, "token", "make", "--role", "technician", "--name", "till form")
    text = made.stdout.strip()
    # 32 bytes in base64 without padding: ceil(256 / 6) characters (RFC 4648, section 5)
    assert len(text) == 43
    found = find_token(Settings(tmp_path), text)
    assert found is not None
    assert (found.name, found.role) == ("till form", "technician")
    assert text not in run(tmp_path, "token", "list").output
    assert "till form" in run(tmp_path, "token", "list").output
    run(tmp_path, "token", "revoke", "till form")
    assert find_token(Settings(tmp_path), text) is None


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("token", "make", "--role", "lead", "--name", " "), "needs a name"),
        (("token", "make", "--role", "lead", "--name", "a\x1b[2J"), "printable"),
        (("token", "revoke", "nobody"), "No token is named 'nobody'. Tokens: none."),
        (("access", "person", "ann", "--role", "lead"), "'ann' is no e-mail address"),
        (("access", "person", "ann@x", "--forget"), "'ann@x' has no role"),
        (("access", "person", "ann@x"), "Give either --role ROLE or --forget"),
        (("access", "provider", "--forget"), "There is no identity provider"),
        (("access", "provider", "--client-id", "bench"), "Give --dashboard, --metadata and --client-id, or --forget"),
        (("access", "passphrase", "--role", "club", "--forget"), "There is no pass phrase for the role 'club'"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(tmp_path: Path, words: tuple[str, ...], says: str) -> None:
    refused = run(tmp_path, *words).exception
    assert isinstance(refused, InputError)
    assert says in str(refused)


def test_a_name_is_used_once(tmp_path: Path) -> None:
    run(tmp_path, "token", "make", "--role", "club", "--name", "sheet")
    again = run(tmp_path, "token", "make", "--role", "lead", "--name", "sheet").exception
    assert "A token named 'sheet' exists" in str(again)


def test_a_phrase_is_asked_twice_and_never_shown(tmp_path: Path) -> None:
    set_up = run(tmp_path, "access", "passphrase", "--role", "lead", typed=f"{PHRASE}\n{PHRASE}\n")
    assert set_up.exit_code == 0
    assert PHRASE not in set_up.output
    assert role_of_phrase(Settings(tmp_path), PHRASE) == "lead"
    slipped = run(tmp_path, "access", "passphrase", "--role", "lead", typed=f"{PHRASE}\nsomething else here\n")
    assert "did not match" in str(slipped.exception)
    assert PHRASE not in slipped.output + str(slipped.exception)
    assert "lead" in run(tmp_path, "access", "list").output
    run(tmp_path, "access", "passphrase", "--role", "lead", "--forget")
    assert role_of_phrase(Settings(tmp_path), PHRASE) == ""
