"""Pass phrases for the dashboard, one a role, kept as Argon2id hashes (RFC 9106; parameters of argon2-cffi)."""

from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from analytics.errors import InputError
from pipelines.access_files import access_folder, read_private, write_private
from pipelines.access_roles import ROLES, check_role
from pipelines.settings import Settings

# Length is what makes a phrase hard to guess (NIST SP 800-63B, 5.1.1.2 asks for 8 at least; here it guards a whole
# shop and is shared, so more). The upper end keeps a stranger from making the server hash a book.
SHORTEST, LONGEST = 12, 200

_hasher = PasswordHasher()


def set_phrase(settings: Settings, role: str, phrase: str) -> None:
    """Keeps the hash of the phrase that lets somebody in with this role; an earlier one stops working.

    Raises
    ------
    InputError
        When the role does not exist, the phrase is too short or long, or another role has the same.
    """
    check_role(role)
    if not SHORTEST <= len(phrase) <= LONGEST:
        raise InputError(
            f"A pass phrase needs {SHORTEST} to {LONGEST} characters; this one has {len(phrase)}. "
            "A few words in a row are easy to keep and hard to guess."
        )
    others = [entry for entry in read_private(_path(settings)) if entry.get("role") != role]
    if any(_is_phrase(entry, phrase) for entry in others):
        raise InputError("Another role has this pass phrase already. Give each role its own.")
    write_private(_path(settings), [*others, {"role": role, "argon2": _hasher.hash(phrase)}])


def forget_phrase(settings: Settings, role: str) -> None:
    """Nobody enters with this role's phrase any more; InputError when there is none."""
    kept = read_private(_path(settings))
    left = [entry for entry in kept if entry.get("role") != role]
    if len(left) == len(kept):
        raise InputError(f"There is no pass phrase for the role '{role}'.")
    write_private(_path(settings), left)


def roles_with_phrase(settings: Settings) -> tuple[str, ...]:
    """Roles that a phrase lets in, in the order of `ROLES`."""
    kept = {str(entry.get("role")) for entry in read_private(_path(settings))}
    return tuple(role for role in ROLES if role in kept)


def phrase_mark(settings: Settings, role: str) -> str:
    """Text that changes when the role's phrase does, "" without one: who came in by an old one must sign in again."""
    marks = {entry.get("role"): str(entry.get("argon2")) for entry in read_private(_path(settings))}
    return marks.get(role, "")


def role_of_phrase(settings: Settings, phrase: str) -> str:
    """The role this phrase opens, "" for none; every hash is tried, so that the time tells nothing."""
    if len(phrase) > LONGEST:
        return ""
    opened = [str(entry["role"]) for entry in read_private(_path(settings)) if _is_phrase(entry, phrase)]
    return opened[0] if opened and opened[0] in ROLES else ""


def _is_phrase(entry: dict[str, Any], phrase: str) -> bool:
    try:
        return _hasher.verify(str(entry.get("argon2", "")), phrase.encode("utf-8", "surrogatepass"))
    except (VerificationError, InvalidHashError):
        return False


def _path(settings: Settings) -> Path:
    return access_folder(settings) / "phrases.json"
