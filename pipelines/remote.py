"""Asks the JSON API of another machine, and says in a sentence what went wrong."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from analytics.errors import InputError

WAIT_SECONDS = 30.0


@dataclass(frozen=True)
class Server:
    """Address of a server, and the token it is asked with."""

    url: str
    token: str


def find_server(url: str, token_file: Path) -> Server:
    """The server with its token; InputError when the address or the file is not usable."""
    if not url.startswith(("http://", "https://")):
        raise InputError(f"'{url}' is no address of a server. Write it like http://127.0.0.1:8770.")
    try:
        token = token_file.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        raise InputError(
            f"No token can be read from '{token_file.name}'. Put the text that `faultodds token make` showed into it."
        ) from None
    if not token or len(token.split()) != 1:
        raise InputError(f"'{token_file.name}' must hold the token and nothing else.")
    return Server(url.rstrip("/"), token)


def ask(server: Server, path: str, body: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Answer of /api/<path>: POST with a body, GET without.

    Raises
    ------
    InputError
        When the server is not there, refuses, limits, or is no faultodds server.
    """
    # httpx reads SSL_CERT_FILE, where a shop names a certificate that it made itself
    method = "GET" if body is None else "POST"
    headers = {"Authorization": f"Bearer {server.token}"}
    try:
        answer = httpx.request(
            method,
            f"{server.url}/api/{path}",
            json=body,
            headers=headers,
            timeout=WAIT_SECONDS,
        )
    except httpx.TimeoutException:
        raise InputError(f"{server.url} has not answered within {WAIT_SECONDS:.0f} s. Try again later.") from None
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        if "CERTIFICATE_VERIFY_FAILED" in str(error):
            raise InputError(
                f"The certificate of {server.url} is not trusted. If the shop made it itself, name its file in the "
                "variable SSL_CERT_FILE."
            ) from None
        raise InputError(
            f"No server answers at {server.url}. Is `faultodds api` running there, and the address right?"
        ) from None
    return _read(answer, server)


def _read(answer: httpx.Response, server: Server) -> dict[str, Any]:
    try:
        told = answer.json()
    except ValueError:
        told = None
    if not isinstance(told, dict):
        raise InputError(f"{server.url} answers, but not as a faultodds server. Check address and port.")
    if answer.is_success:
        return told
    raise InputError(f"The server says: {told.get('problem', f'no ({answer.status_code})')}")
