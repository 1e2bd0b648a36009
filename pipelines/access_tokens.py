"""Tokens for a shop's own forms and sheets: made once, shown once, kept only as a hash.

A token is 32 random bytes. Nobody can guess or try through so many, so one round of SHA-256 is enough to keep it; the
slow hash that a pass phrase needs would only make every request slow (NIST SP 800-63B, 5.1.2.2 "look-up secrets": at
least 112 bits need no key stretching; section from memory).
"""

import hashlib
import hmac
import secrets
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

from analytics.errors import InputError
from pipelines.access_files import access_folder, read_private, write_private
from pipelines.access_roles import check_role
from pipelines.settings import Settings

TOKEN_BYTES = 32
LONGEST_NAME = 60


@dataclass(frozen=True)
class Token:
    """One token as it is kept: what it is for, what it may do, and the hash it is known by."""

    name: str
    role: str
    made_on: str
    sha256: str


def make_token(settings: Settings, *, name: str, role: str, today: date) -> str:
    """Keeps a new token and returns its text, which cannot be shown again.

    Raises
    ------
    InputError
        When the name is empty, too long, not printable or in use, or there is no such role.
    """
    name = name.strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise InputError(f"A token needs a name of 1 to {LONGEST_NAME} printable characters, e.g. 'till form'.")
    kept = list_tokens(settings)
    if any(token.name == name for token in kept):
        raise InputError(f"A token named '{name}' exists. Revoke it first, or give another name.")
    text = secrets.token_urlsafe(TOKEN_BYTES)
    _write(settings, [*kept, Token(name, check_role(role), today.isoformat(), _digest(text))])
    return text


def list_tokens(settings: Settings) -> list[Token]:
    """All tokens in the order they were made; InputError when the file cannot be read."""
    path = _path(settings)
    try:
        return [Token(**entry) for entry in read_private(path)]
    except TypeError as error:
        raise InputError(f"'{path.name}' is not what faultodds wrote. Delete it and make the tokens again.") from error


def revoke_token(settings: Settings, name: str) -> None:
    """Forgets a token: the next request with it is refused; InputError when there is none of this name."""
    kept = list_tokens(settings)
    left = [token for token in kept if token.name != name]
    if len(left) == len(kept):
        names = ", ".join(f"'{token.name}'" for token in kept) or "none"
        raise InputError(f"No token is named '{name}'. Tokens: {names}.")
    _write(settings, left)


def find_token(settings: Settings, presented: str) -> Token | None:
    """The token that this text is, if any; takes as long for a wrong one as for a right one."""
    digest = _digest(presented)
    found = None
    for token in list_tokens(settings):
        if hmac.compare_digest(token.sha256, digest):
            found = token
    return found


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _path(settings: Settings) -> Path:
    return access_folder(settings) / "tokens.json"


def _write(settings: Settings, tokens: list[Token]) -> None:
    write_private(_path(settings), [asdict(token) for token in tokens])
