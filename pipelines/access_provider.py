"""The identity provider (OpenID Connect) through which people sign in: one private file that the server reads."""

import json
import secrets
import tomllib
from pathlib import Path
from urllib.parse import urlsplit

from analytics.errors import InputError
from pipelines.access_files import access_folder, refuse_open_file, write_owner_only
from pipelines.serving import Place, is_loopback, served_hosts
from pipelines.settings import Settings

PROVIDER_KEYS = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")
# Where the dashboard's server takes the provider's answer; it has no other place for it.
CALLBACK = "/oauth2callback"
# Who guesses it can write a cookie that says "I am the lead". 32 characters of base64 are 192 bits.
SHORTEST_COOKIE_SECRET = 32
LONGEST_VALUE = 500


def set_provider(settings: Settings, *, dashboard: str, metadata_url: str, client_id: str, client_secret: str) -> str:
    """Writes the provider's file, with a new cookie secret, so that whoever was signed in must sign in again.

    Parameters
    ----------
    dashboard : address of the dashboard as people type it, like https://bench.workshop.example:8765
    metadata_url : of the provider's discovery document (OpenID Connect Discovery 1.0, section 4)
    client_id, client_secret : what the provider gave for this dashboard

    Returns
    -------
    The address to register at the provider, to which it sends people back.

    Raises
    ------
    InputError
        When an address is none, or is not encrypted where it must be, or a value cannot be.
    """
    told = {
        "redirect_uri": f"{dashboard.strip().rstrip('/')}{CALLBACK}",
        "cookie_secret": secrets.token_urlsafe(48),
        "client_id": client_id.strip(),
        "client_secret": client_secret.strip(),
        "server_metadata_url": metadata_url.strip(),
    }
    _check(told)
    # JSON's way to quote is TOML's for text without control characters, and _check lets no others pass
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in told.items()]
    write_owner_only(_path(settings), "\n".join(["[auth]", *lines, ""]))
    return told["redirect_uri"]


def forget_provider(settings: Settings) -> None:
    """Takes the provider away; InputError when there is none."""
    if not _path(settings).exists():
        raise InputError("There is no identity provider.")
    _path(settings).unlink()


def find_provider(settings: Settings) -> Path | None:
    """The file that describes the identity provider, None when there is none.

    Raises
    ------
    InputError
        When others may read it, or something in it is missing or cannot be.
    """
    path = _path(settings)
    if not path.exists():
        return None
    _check(_read(path))
    return path


def sent_back_to(settings: Settings) -> str:
    """The dashboard's address as the provider knows it, "" without a provider."""
    path = find_provider(settings)
    if path is None:
        return ""
    return str(_read(path)["redirect_uri"]).removesuffix(CALLBACK)


def refuse_lost_way(settings: Settings, place: Place) -> None:
    """InputError when the provider would send people to a name that the server does not answer to."""
    back = sent_back_to(settings)
    name = urlsplit(back).hostname
    if name is not None and name not in (served := served_hosts(place)):
        raise InputError(
            f"The identity provider sends people back to {name}, but the dashboard would answer to "
            f"{', '.join(served)} only. Add --host-name {name}, or set the provider up again with another --dashboard."
        )


def _path(settings: Settings) -> Path:
    return access_folder(settings) / "secrets.toml"


def _read(path: Path) -> dict[str, str]:
    refuse_open_file(path)
    try:
        told = tomllib.loads(path.read_text(encoding="utf-8")).get("auth", {})
    except (OSError, ValueError) as error:
        raise InputError(f"'{path.name}' cannot be read as TOML. Correct it, or delete it.") from error
    missing = [key for key in PROVIDER_KEYS if not (isinstance(told, dict) and isinstance(told.get(key), str))]
    if missing:
        raise InputError(f"'{path.name}' has no {missing[0]} in its part [auth]. It needs: {', '.join(PROVIDER_KEYS)}.")
    return {key: told[key] for key in PROVIDER_KEYS}


def _check(told: dict[str, str]) -> None:
    for key, value in told.items():
        if not value or not value.isprintable() or len(value) > LONGEST_VALUE:
            raise InputError(
                f"The provider's {key} cannot be: it takes 1 to {LONGEST_VALUE} printable characters. Set it up again "
                "with `faultodds access provider`."
            )
    if not told["redirect_uri"].endswith(CALLBACK):
        raise InputError(f"The provider's redirect_uri is {told['redirect_uri']}; it must end with {CALLBACK}.")
    _check_address(told["redirect_uri"].removesuffix(CALLBACK), "the dashboard")
    _check_address(told["server_metadata_url"], "the provider")
    if len(told["cookie_secret"]) < SHORTEST_COOKIE_SECRET:
        raise InputError(
            f"The provider's cookie_secret has {len(told['cookie_secret'])} characters; whoever guesses it is let in. "
            f"It takes {SHORTEST_COOKIE_SECRET} or more: `faultodds access provider` draws one."
        )


def _check_address(address: str, whose: str) -> None:
    """Discovery 1.0, section 4, and Core 1.0, section 3.1.2.1, ask for TLS; a loopback address never leaves us."""
    try:
        parts = urlsplit(address)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        host = ""
    if not host or parts.scheme not in ("http", "https") or parts.fragment or parts.username:
        raise InputError(f"{address!r} is no address of {whose}. Write it like https://bench.workshop.example.")
    if parts.scheme == "http" and not _is_here(host):
        raise InputError(
            f"{address} is not encrypted: anybody on the way could take over the sign-in. Give an address of {whose} "
            "that begins with https."
        )


def _is_here(host: str) -> bool:
    try:
        return is_loopback(host)
    except InputError:
        return False
