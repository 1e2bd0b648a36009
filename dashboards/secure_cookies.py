"""Cookies of a sign-in leave the browser on encrypted connections only, where the dashboard is served so."""

from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

SECURE = b"; Secure"


def secure_cookies(app: ASGIApp) -> ASGIApp:
    """The application with `Secure` on every cookie that it sets (RFC 6265, section 4.1.2.5).

    Streamlit leaves it out, because it must also work without encryption. Then a stranger on the way could make the
    browser ask for the same name unencrypted, and read who is signed in from that.
    """

    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        async def send_secured(message: Message) -> None:
            await send(_secured(message) if message["type"] == "http.response.start" else message)

        await app(scope, receive, send_secured)

    return answer


def _secured(message: Message) -> Message:
    headers = [(name, _with_secure(name, value)) for name, value in message.get("headers", [])]
    told: dict[str, Any] = {**message, "headers": headers}
    return told


def _with_secure(name: bytes, value: bytes) -> bytes:
    if name.lower() != b"set-cookie" or SECURE.lower() in value.lower():
        return value
    return value + SECURE
