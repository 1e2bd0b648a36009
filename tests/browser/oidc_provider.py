"""A small identity provider for the tests: OpenID Connect Core 1.0 and Discovery 1.0, the authorization code flow.

It keeps to the standard and refuses what the standard says to refuse, so that a dashboard which signs in here asks in
the right way. It knows no passwords: its page has a link per account. The tokens of some accounts are forged.

Run as a program of its own; standard input says in JSON: issuer, client_id, client_secret, redirect_uri, accounts.
"""

import base64
import hashlib
import hmac
import html
import json
import secrets
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl, unquote, urlencode

import uvicorn
from joserfc import jwt
from joserfc.jwk import RSAKey
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

Claims = dict[str, Any]
Signer = Callable[[Claims, RSAKey], str]
# Core, section 3.1.2.1, and RFC 7636, section 4.3: what of a request must be remembered until its code comes back.
KEPT = ("nonce", "redirect_uri", "code_challenge", "code_challenge_method")


def _honestly(claims: Claims, key: RSAKey) -> str:
    """Core, section 2: an ID token is a signed JWT; section 10.1: its header names the key."""
    return jwt.encode({"alg": "RS256", "kid": key.kid}, claims, key)


def _by_another_key(claims: Claims, key: RSAKey) -> str:
    """Somebody else's key under the name of the provider's."""
    return _honestly(claims, RSAKey.generate_key(2048, {"kid": key.kid}))


def _by_the_public_key(claims: Claims, key: RSAKey) -> str:
    """The public key, which everybody has, taken as a shared secret (RFC 8725, section 2.1)."""
    content = f"{_part({'alg': 'HS256', 'kid': key.kid})}.{_part(claims)}"
    return f"{content}.{_base64(hmac.digest(key.as_pem(private=False), content.encode(), 'sha256'))}"


def _by_nobody(claims: Claims, key: RSAKey) -> str:
    """RFC 8725, section 2.1: "alg" says that there is no signature."""
    return ".".join((_part({"alg": "none", "kid": key.kid}), _part(claims), ""))


# Core, section 3.1.3.7, is the list of what a client must check; each of these breaks one of its points.
SIGNERS: Mapping[str, Signer] = {
    "honest": _honestly,
    "another key": _by_another_key,
    "the public key": _by_the_public_key,
    "nobody": _by_nobody,
    "another issuer": lambda claims, key: _honestly({**claims, "iss": "https://elsewhere.example"}, key),
    "another client": lambda claims, key: _honestly({**claims, "aud": "till"}, key),
    "too old": lambda claims, key: _honestly({**claims, "iat": claims["iat"] - 9000, "exp": claims["iat"] - 8000}, key),
    "another sign-in": lambda claims, key: _honestly({**claims, "nonce": "of another"}, key),
}


@dataclass(frozen=True)
class Account:
    """What the link says, the claims of Core, section 5.1, and by whom the token is signed, of SIGNERS."""

    label: str
    claims: Mapping[str, Any]
    signed_by: str = "honest"


@dataclass(frozen=True)
class Provider:
    """The provider's address, the one client that it knows, the people, and the codes that were not yet redeemed."""

    issuer: str
    client_id: str
    client_secret: str
    redirect_uri: str
    accounts: tuple[Account, ...]
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"use": "sig", "kid": "first"}))
    codes: dict[str, tuple[Account, dict[str, str]]] = field(default_factory=dict)
    tokens: dict[str, Account] = field(default_factory=dict)


def make_app(provider: Provider) -> Starlette:
    """The provider as an application; Discovery, section 4, fixes the path of the first route."""
    return Starlette(
        routes=[
            Route("/.well-known/openid-configuration", lambda _: JSONResponse(_metadata(provider))),
            Route("/keys", lambda _: JSONResponse({"keys": [provider.key.as_dict(private=False)]})),
            Route("/authorize", lambda request: _authorize(provider, request)),
            Route("/chosen", lambda request: _chosen(provider, request)),
            Route("/token", _token_of(provider), methods=["POST"]),
            Route("/userinfo", lambda request: _userinfo(provider, request)),
            Route("/leave", lambda request: _leave(provider, request)),
        ]
    )


def _metadata(provider: Provider) -> Claims:
    """Discovery, section 3: all that is REQUIRED, with PKCE (RFC 8414, section 2) and RP-Initiated Logout 1.0."""
    return {
        "issuer": provider.issuer,
        "authorization_endpoint": f"{provider.issuer}/authorize",
        "token_endpoint": f"{provider.issuer}/token",
        "userinfo_endpoint": f"{provider.issuer}/userinfo",
        "jwks_uri": f"{provider.issuer}/keys",
        "end_session_endpoint": f"{provider.issuer}/leave",
        "response_types_supported": ["code"],
        "subject_types_supported": ["public"],
        "id_token_signing_alg_values_supported": ["RS256"],
        "token_endpoint_auth_methods_supported": ["client_secret_basic"],
        "scopes_supported": ["openid", "email", "profile"],
        "code_challenge_methods_supported": ["S256"],
    }


def _authorize(provider: Provider, request: Request) -> Response:
    """Core, section 3.1.2: the request is checked, then a person chooses who to be."""
    asked = request.query_params
    # RFC 6749, section 4.1.2.1: never send anybody to an address that the client has not registered
    if asked.get("client_id") != provider.client_id or asked.get("redirect_uri") != provider.redirect_uri:
        return HTMLResponse("<h1>Unknown client or address</h1>", status_code=400)
    if asked.get("response_type") != "code" or "openid" not in asked.get("scope", "").split():
        # Core, section 3.1.2.6
        return _send_back(asked["redirect_uri"], {"error": "invalid_request", "state": asked.get("state", "")})
    choices = "".join(
        f"<p><a href='/chosen?{html.escape(urlencode({**asked, 'at': at}))}'>{html.escape(account.label)}</a></p>"
        for at, account in enumerate(provider.accounts)
    )
    refuse = f"<p><a href='/chosen?{html.escape(urlencode(asked))}'>Nobody</a></p>"
    return HTMLResponse(f"<!doctype html><title>Who are you?</title><h1>Who are you?</h1>{choices}{refuse}")


def _chosen(provider: Provider, request: Request) -> Response:
    """Core, section 3.1.2.5: a code and the state; section 3.1.2.6 when nobody signed in."""
    asked = dict(request.query_params)
    if "at" not in asked:
        return _send_back(provider.redirect_uri, {"error": "access_denied", "state": asked.get("state", "")})
    code = secrets.token_urlsafe(24)
    provider.codes[code] = (provider.accounts[int(asked["at"])], {key: asked[key] for key in KEPT if key in asked})
    return _send_back(provider.redirect_uri, {"code": code, "state": asked.get("state", "")})


def _token_of(provider: Provider) -> Callable[[Request], Any]:
    async def answer(request: Request) -> Response:
        form = dict(parse_qsl((await request.body()).decode()))
        if not _is_the_client(provider, request.headers.get("authorization", "")):
            return _refusal("invalid_client", status=401)
        # Core, section 3.1.3.2: a code is redeemed once, with the address and the proof it was asked for with
        account, kept = provider.codes.pop(form.get("code", ""), (None, {}))
        if account is None or form.get("grant_type") != "authorization_code":
            return _refusal("invalid_grant")
        if form.get("redirect_uri") != kept["redirect_uri"] or not _is_proved(kept, form.get("code_verifier", "")):
            return _refusal("invalid_grant")
        access = secrets.token_urlsafe(24)
        provider.tokens[access] = account
        told = {"access_token": access, "token_type": "Bearer", "expires_in": 300,
                "id_token": SIGNERS[account.signed_by](_claims(provider, account, kept), provider.key)}  # fmt: skip
        # Core, section 3.1.3.3
        return JSONResponse(told, headers={"Cache-Control": "no-store"})

    return answer


def _claims(provider: Provider, account: Account, kept: Mapping[str, str]) -> Claims:
    """Core, section 2: the REQUIRED claims, and the nonce of the request as it came."""
    now = int(time.time())
    nonce = {"nonce": kept["nonce"]} if "nonce" in kept else {}
    return {"iss": provider.issuer, "sub": account.label, "aud": provider.client_id, "iat": now, "exp": now + 300,
            **nonce, **account.claims}  # fmt: skip


def _is_the_client(provider: Provider, header: str) -> bool:
    """Core, section 9, client_secret_basic."""
    try:
        name, _, secret = base64.b64decode(header.removeprefix("Basic ")).decode().partition(":")
    except ValueError:
        return False
    return (unquote(name), unquote(secret)) == (provider.client_id, provider.client_secret)


def _is_proved(kept: Mapping[str, str], verifier: str) -> bool:
    """RFC 7636, section 4.6; whoever did not ask with a challenge has nothing to prove."""
    if "code_challenge" not in kept:
        return True
    digest = _base64(hashlib.sha256(verifier.encode()).digest())
    return kept.get("code_challenge_method") == "S256" and digest == kept["code_challenge"]


def _userinfo(provider: Provider, request: Request) -> Response:
    """Core, section 5.3."""
    account = provider.tokens.get(request.headers.get("authorization", "").removeprefix("Bearer "))
    if account is None:
        return Response(status_code=401, headers={"WWW-Authenticate": 'Bearer error="invalid_token"'})
    return JSONResponse({"sub": account.label, **account.claims})


def _leave(provider: Provider, request: Request) -> Response:
    """RP-Initiated Logout 1.0, section 3: back to a registered address only."""
    back = request.query_params.get("post_logout_redirect_uri")
    if back != provider.redirect_uri:
        return HTMLResponse("<h1>Signed out</h1>")
    return RedirectResponse(back, status_code=302)


def _refusal(error: str, *, status: int = 400) -> Response:
    """Core, section 3.1.3.4."""
    return JSONResponse({"error": error}, status_code=status, headers={"Cache-Control": "no-store"})


def _send_back(address: str, told: Mapping[str, str]) -> Response:
    return RedirectResponse(f"{address}?{urlencode(told)}", status_code=302)


def _part(told: Claims) -> str:
    return _base64(json.dumps(told).encode())


def _base64(content: bytes) -> str:
    """RFC 7515, section 2: without padding."""
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode()


if __name__ == "__main__":
    asked = json.load(sys.stdin)
    known = tuple(Account(**account) for account in asked.pop("accounts"))
    here = Provider(**asked, accounts=known)
    uvicorn.run(make_app(here), port=int(here.issuer.rsplit(":", 1)[1]), log_level="warning", ws="none")
