"""Cookies of a dashboard that is served encrypted."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import httpx
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from dashboards.secure_cookies import secure_cookies


async def two_cookies(scope: Scope, receive: Receive, send: Send) -> None:
    response = Response("here")
    response.set_cookie("user", "ann", httponly=True)
    response.set_cookie("xsrf", "1", secure=True)
    await response(scope, receive, send)


async def cookies_of_an_answer() -> list[str]:
    transport = httpx.ASGITransport(secure_cookies(two_cookies))
    async with httpx.AsyncClient(transport=transport, base_url="https://bench.workshop.example") as client:
        answer = await client.get("/")
    assert answer.text == "here"
    return answer.headers.get_list("set-cookie")


def test_every_cookie_is_kept_to_encrypted_connections_once() -> None:
    # in a thread of its own: the browser of other tests keeps a loop running in this one
    with ThreadPoolExecutor(1) as thread:
        told = thread.submit(lambda: asyncio.run(cookies_of_an_answer())).result()
    # RFC 6265, section 4.1.2.5
    assert [cookie.count("Secure") for cookie in told] == [1, 1]
