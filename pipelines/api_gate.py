"""The gate before the JSON API: who asks, how often, how much, and in what form. Runs before a body is read."""

import json
import math
import time
from collections.abc import Sequence

from limits import RateLimitItem, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from analytics.errors import InputError
from pipelines.access_tokens import find_token
from pipelines.settings import Settings

# A form and a sheet ask a few times a minute; a loop that ran away asks hundreds of times.
REQUESTS_PER_MINUTE = 120
# Of one address. Nobody can guess a token, but nobody needs to try for long either.
WRONG_TOKENS_PER_MINUTE = 20
# The longest ticket that the bodies allow has some 120 kB with every character escaped.
MOST_BYTES = 256 * 1024
OPEN_PATHS = ("/openapi.json",)
LONGEST_TOKEN = 200

_NO_TOKEN = (
    "This needs a token: send the header 'Authorization: Bearer TOKEN'. `faultodds token make` on the shop's machine "
    "makes one."
)
_WRONG_TOKEN = "This token is not known, or was revoked. `faultodds token make` on the shop's machine makes a new one."


class Gate:
    """ASGI middleware (a class only because that is what ASGI hands its neighbours to)."""

    def __init__(self, app: ASGIApp, settings: Settings, *, requests_per_minute: int = REQUESTS_PER_MINUTE) -> None:
        self.app, self.settings = app, settings
        self.limiter = MovingWindowRateLimiter(MemoryStorage())
        self.allowed = RateLimitItemPerMinute(requests_per_minute)
        self.wrong_allowed = RateLimitItemPerMinute(WRONG_TOKENS_PER_MINUTE)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = _wrong_form(scope["method"], headers) or await run_in_threadpool(self._wrong_asker, scope, headers)
        if refused:
            await _refuse(send, *refused)
            return
        body = await _read_body(receive)
        if body is None:
            await _refuse(send, *_too_long())
            return
        await self.app(scope, _replay(body, receive), send)

    def _wrong_asker(self, scope: Scope, headers: Headers) -> "Refusal | None":
        """Finds the token's role, or why there is none; `state` of the request keeps the role."""
        if _inner_path(scope) in OPEN_PATHS:
            return self._too_often(self.allowed, f"address:{_address(scope)}")
        kind, _, text = headers.get("authorization", "").partition(" ")
        text = text.strip()
        if kind.lower() != "bearer" or not text:
            return 401, _NO_TOKEN, (("www-authenticate", "Bearer"),)
        address = f"wrong:{_address(scope)}"
        if not self.limiter.test(self.wrong_allowed, address):
            return self._wait(self.wrong_allowed, address)
        try:
            token = find_token(self.settings, text) if len(text) <= LONGEST_TOKEN else None
        except InputError as problem:
            return 503, str(problem), ()
        if token is None:
            self.limiter.hit(self.wrong_allowed, address)
            return 401, _WRONG_TOKEN, (("www-authenticate", 'Bearer error="invalid_token"'),)
        scope.setdefault("state", {})["role"] = token.role
        return self._too_often(self.allowed, f"token:{token.sha256}")

    def _too_often(self, item: RateLimitItem, key: str) -> "Refusal | None":
        return None if self.limiter.hit(item, key) else self._wait(item, key)

    def _wait(self, item: RateLimitItem, key: str) -> "Refusal":
        seconds = max(1, math.ceil(self.limiter.get_window_stats(item, key).reset_time - time.time()))
        problem = f"Too many requests: {item.amount} in a minute are allowed. Wait {seconds} s, then go on more slowly."
        return 429, problem, (("retry-after", str(seconds)),)


# Status, sentence, further headers.
type Refusal = tuple[int, str, Sequence[tuple[str, str]]]


def _wrong_form(method: str, headers: Headers) -> Refusal | None:
    """A page of another site can post text/plain with nobody's leave; JSON it cannot."""
    if method not in ("POST", "PUT", "PATCH"):
        return None
    kind = headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        return 415, f"The body is '{kind or 'of no kind'}'. Send JSON, with 'Content-Type: application/json'.", ()
    length = headers.get("content-length", "0")
    return _too_long() if not length.isdecimal() or int(length[:12]) > MOST_BYTES else None


def _too_long() -> Refusal:
    return 413, f"The body is longer than {MOST_BYTES:,} bytes. Send one case or one ticket at a time.", ()


async def _read_body(receive: Receive) -> bytes | None:
    """The whole body; None as soon as it is too long, whatever its header said."""
    parts: list[bytes] = []
    size = 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return b"".join(parts)
        size += len(message.get("body", b""))
        if size > MOST_BYTES:
            return None
        parts.append(message.get("body", b""))
        if not message.get("more_body"):
            return b"".join(parts)


def _replay(body: bytes, receive: Receive) -> Receive:
    told = iter([{"type": "http.request", "body": body, "more_body": False}])

    async def again() -> Message:
        message = next(told, None)
        return message if message is not None else await receive()

    return again


async def _refuse(send: Send, status: int, problem: str, headers: Sequence[tuple[str, str]]) -> None:
    body = json.dumps({"problem": problem}).encode()
    sent = [("content-type", "application/json"), ("content-length", str(len(body))), *headers]
    raw = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in sent]
    await send({"type": "http.response.start", "status": status, "headers": raw})
    await send({"type": "http.response.body", "body": body})


def _inner_path(scope: Scope) -> str:
    return str(scope["path"]).removeprefix(str(scope.get("root_path", "")))


def _address(scope: Scope) -> str:
    client = scope.get("client")
    return str(client[0]) if client else "unknown"
