"""Sign-in for the dashboard: whether one is set up, whom a phrase or a provider lets in, and how often one may try."""

import threading
import time
from collections.abc import Mapping
from typing import Any

from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

from analytics.errors import InputError
from pipelines.access_people import role_of_person
from pipelines.access_phrases import role_of_phrase, roles_with_phrase
from pipelines.access_provider import find_provider
from pipelines.serving import Place, is_loopback
from pipelines.settings import Settings

# Wrong tries in a minute: of one address, and of all together (many addresses may belong to one stranger).
TRIES_OF_ONE, TRIES_OF_ALL = RateLimitItemPerMinute(5), RateLimitItemPerMinute(30)

# Of this process; one try at a time, or many at once would all be counted too late.
_limiter = MovingWindowRateLimiter(MemoryStorage())
_one_try = threading.Lock()


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
    return role_of_person(settings, user["email"]) if is_confirmed(user) else ""


def is_confirmed(user: Mapping[str, Any]) -> bool:
    """Whether the provider says that the e-mail address is this person's own.

    Notes
    -----
    OpenID Connect Core 1.0, section 5.1: `email_verified` is true when the provider has made sure that the person had
    the address. Where the claim is absent nothing is known: at some providers anybody may state any address.
    """
    return isinstance(user.get("email"), str) and user.get("email_verified") is True
