"""The JSON API as one ASGI application: FastAPI behind the gate, every refusal a sentence."""

import logging
from collections.abc import Sequence

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.routing import Mount

from analytics.errors import InputError
from pipelines.api_gate import REQUESTS_PER_MINUTE, Gate
from pipelines.api_routes import make_router
from pipelines.serving import LOOPBACK_NAMES
from pipelines.settings import Settings

PREFIX = "/api"
SHOWN_CHARACTERS = 60

_log = logging.getLogger("faultodds.api")


def make_api(
    settings: Settings, *, hosts: Sequence[str] = LOOPBACK_NAMES, requests_per_minute: int = REQUESTS_PER_MINUTE
) -> FastAPI:
    """The API over one data folder, to be mounted at `PREFIX`.

    Parameters
    ----------
    hosts : names under which the server may be asked; any other one is refused (DNS rebinding)
    """
    # no page of documentation: the ready-made ones load their scripts from an outside host
    api = FastAPI(title="faultodds", version="1", docs_url=None, redoc_url=None, openapi_url="/openapi.json")
    api.include_router(make_router(settings))
    api.add_exception_handler(InputError, _answer_refusal)
    api.add_exception_handler(RequestValidationError, _answer_wrong_body)
    api.add_exception_handler(HTTPException, _answer_http)
    api.add_exception_handler(Exception, _answer_failure)
    api.add_middleware(Gate, settings=settings, requests_per_minute=requests_per_minute)
    api.add_middleware(TrustedHostMiddleware, allowed_hosts=list(hosts))
    return api


def make_server_app(
    settings: Settings, *, hosts: Sequence[str] = LOOPBACK_NAMES, requests_per_minute: int = REQUESTS_PER_MINUTE
) -> Starlette:
    """The API alone, at the same addresses as beside the dashboard."""
    api = make_api(settings, hosts=hosts, requests_per_minute=requests_per_minute)
    return Starlette(routes=[Mount(PREFIX, api)], exception_handlers={HTTPException: _answer_http})


def say_wrong_body(error: RequestValidationError) -> str:
    """The first problem of a body as a sentence, and how many more there are."""
    problems = error.errors()
    first, rest = problems[0], len(problems) - 1
    if first["type"] == "json_invalid":
        return 'The body is not JSON. Send one object, e.g. {"symptom": "..."}.'
    place = ascii(".".join(str(part) for part in first["loc"][1:]))[1:-1][:SHOWN_CHARACTERS] or "the body"
    reason = str(first["msg"]).removeprefix("Value error, ")
    given = _shown(first["input"])
    more = f" ({rest} more like this.)" if rest else ""
    return (
        f"{place}: {given} was given; {reason[:1].lower()}{reason[1:]}. /api/openapi.json says what is allowed.{more}"
    )


def _shown(given: object) -> str:
    """A value as it came, short, with nothing that an answer could not hold."""
    if isinstance(given, dict | list):
        return "a list" if isinstance(given, list) else "an object"
    text = ascii(given)
    return text if len(text) <= SHOWN_CHARACTERS else f"{text[:SHOWN_CHARACTERS]}..."


def _problem(status: int, sentence: str, headers: dict[str, str] | None = None) -> JSONResponse:
    return JSONResponse({"problem": sentence}, status, headers)


def _answer_refusal(_: Request, error: Exception) -> JSONResponse:
    return _problem(422, str(error))


def _answer_wrong_body(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    return _problem(422, say_wrong_body(error))


def _answer_http(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    if error.status_code == 400:
        return _problem(422, "The body could not be read as JSON. Send one object of plain values.")
    sentences = {
        404: "There is nothing at this address. /api/openapi.json lists what there is.",
        405: "This address cannot be asked in this way. /api/openapi.json says how.",
    }
    return _problem(error.status_code, sentences.get(error.status_code, str(error.detail)), dict(error.headers or {}))


def _answer_failure(_: Request, error: Exception) -> JSONResponse:
    # Only the kind: a message could repeat what somebody wrote.
    _log.error("a request failed with %s", type(error).__name__)
    return _problem(500, "This failed for a reason that is ours. Nothing was stored. Try again.")
