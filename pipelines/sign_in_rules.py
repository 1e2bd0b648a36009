"""Sign-in for the dashboard: whether one is set up, whom a phrase or a provider lets in, and how often one may try."""

import threading
import time
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

from analytics.errors import InputError
from pipelines.access_files import access_folder, refuse_open_file
from pipelines.access_people import role_of_person
from pipelines.access_phrases import role_of_phrase, roles_with_phrase
from pipelines.serving import Place, is_loopback
from pipelines.settings import Settings

# Wrong tries in a minute: of one address, and of all together (many addresses may belong to one stranger).
TRIES_OF_ONE, TRIES_OF_ALL = RateLimitItemPerMinute(5), RateLimitItemPerMinute(30)
PROVIDER_KEYS = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")

# Of this process; one try at a time, or many at once would all be counted too late.
_limiter = MovingWindowRateLimiter(MemoryStorage())
_one_try = threading.Lock()


def find_provider(settings: Settings) -> Path | None:
    """The file that describes the identity provider, None when there is none.

    Raises
    ------
    InputError
        When others may read it, or something is missing in it.
    """
    path = access_folder(settings) / "secrets.toml"
    if not path.exists():
        return None
    refuse_open_file(path)
    try:
        told = tomllib.loads(path.read_text(encoding="utf-8")).get("auth", {})
    except (OSError, ValueError) as error:
        raise InputError(f"'{path.name}' cannot be read as TOML. Correct it, or delete it.") from error
    missing = [key for key in PROVIDER_KEYS if not (isinstance(told, dict) and told.get(key))]
    if missing:
        raise InputError(f"'{path.name}' has no {missing[0]} in its part [auth]. It needs: {', '.join(PROVIDER_KEYS)}.")
    return path


def is_set_up(settings: Settings) -> bool:
    """Whether anybody must sign in; InputError when the files that say so cannot be used."""
    return bool(roles_with_phrase(settings)) or find_provider(settings) is not None


def refuse_open_door(settings: Settings, place: Place) -> None:
    """InputError when a server would be open to strangers."""
    if not place.is_loopback and not is_set_up(settings):
        raise InputError(
            f"Serving at {place.address} would let anybody on the network in. Set up a sign-in first: `faultodds "
            "access passphrase --role lead`. Or leave --address out: then only this machine reaches the dashboard."
        )


def is_door_needed(settings: Settings, address: str) -> bool:
    """Whether the dashboard must ask who is there; an address that nobody stated counts as open to all."""
    return not (address and is_loopback(address)) or is_set_up(settings)


def try_phrase(settings: Settings, phrase: str, address: str) -> str:
    """The role that the phrase opens.

    Raises
    ------
    InputError
        When it opens none, or after too many wrong ones; the right phrase is refused too until the wait is over.
    """
    limits = ((TRIES_OF_ONE, f"{settings.data_folder}|{address}"), (TRIES_OF_ALL, str(settings.data_folder)))
    with _one_try:
        for limit, key in limits:
            if not _limiter.test(limit, key):
                wait = max(1, round(_limiter.get_window_stats(limit, key).reset_time - time.time()))
                raise InputError(f"Too many wrong pass phrases. Wait {wait} s, then try again.")
        role = role_of_phrase(settings, phrase)
        if not role:
            for limit, key in limits:
                _limiter.hit(limit, key)
            raise InputError("This pass phrase opens nothing. Check it, or ask whoever set the dashboard up.")
    return role


def role_of_user(settings: Settings, user: Mapping[str, Any]) -> str:
    """The role of somebody whom the identity provider let in; "" for none, or when the address is not confirmed."""
    email = user.get("email")
    if not isinstance(email, str) or user.get("email_verified") is False:
        return ""
    return role_of_person(settings, email)
