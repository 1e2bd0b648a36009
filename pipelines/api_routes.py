"""Routes of the JSON API: each says who may ask and hands the body to `api_answers`."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Path, Request, Response
from fastapi.security import HTTPBearer

from pipelines import api_answers as answers
from pipelines import api_bodies as bodies
from pipelines.access_roles import RIGHTS, may
from pipelines.settings import Settings

_REFUSED: dict[int | str, dict[str, Any]] = {
    401: {"model": bodies.Problem, "description": "No token, or one that is not known."},
    403: {"model": bodies.Problem, "description": "The token's role may not do this."},
    404: {"model": bodies.Problem, "description": "There is nothing at this address."},
    413: {"model": bodies.Problem, "description": "The body is too long."},
    415: {"model": bodies.Problem, "description": "The body is not JSON."},
    422: {"model": bodies.Problem, "description": "Refused: what was given, what is allowed, what to do."},
    429: {
        "model": bodies.Problem,
        "description": "Too many requests.",
        "headers": {"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait."}},
    },
    503: {"model": bodies.Problem, "description": "The file of tokens cannot be read."},
}
# The gate has read the token already; this only tells the description of the API that there is one.
_token = HTTPBearer(auto_error=False, description="A token from `faultodds token make`.")


def needs(right: str) -> Callable[[Request], None]:
    """A dependency that lets in the roles with this right."""

    def check(request: Request) -> None:
        role = getattr(request.state, "role", "")
        if not may(role, right):
            allowed = " or ".join(name for name, rights in RIGHTS.items() if right in rights)
            raise HTTPException(403, f"A token of the role '{role}' may not do this. It takes: {allowed}.")

    return check


def make_router(settings: Settings) -> APIRouter:
    """All routes over one data folder."""
    router = APIRouter(dependencies=[Depends(_token)], responses=_REFUSED)
    _add_bench(router, settings)
    _add_tickets(router, settings)
    _add_review(router, settings)
    return router


def _today() -> date:
    return datetime.now(UTC).date()


def _add_bench(router: APIRouter, settings: Settings) -> None:
    @router.post("/suspects", dependencies=[Depends(needs("bench"))], summary="Suspects of a case by falling odds")
    def post_suspects(body: bodies.CaseBody) -> bodies.SuspectsAnswer:
        return answers.answer_suspects(settings, body, today=_today())

    @router.post("/next-check", dependencies=[Depends(needs("bench"))], summary="The check to make next")
    def post_next_check(body: bodies.CaseBody) -> bodies.NextCheckAnswer:
        return answers.answer_next_check(settings, body, today=_today())

    @router.get("/words", dependencies=[Depends(needs("bench"))], summary="Words that a form can offer")
    def get_words() -> bodies.WordsAnswer:
        return answers.answer_words(settings)


def _add_tickets(router: APIRouter, settings: Settings) -> None:
    @router.post(
        "/tickets",
        status_code=201,
        dependencies=[Depends(needs("tickets"))],
        summary="Hand in a closed repair",
        responses={200: {"model": bodies.TicketAnswer, "description": "Known already, and it says the same."}},
    )
    def post_ticket(body: bodies.TicketBody, response: Response) -> bodies.TicketAnswer:
        answer, is_new = answers.answer_ticket(settings, body, today=_today())
        response.status_code = 201 if is_new else 200
        return answer

    @router.get("/quarantine", dependencies=[Depends(needs("tickets"))], summary="Rows that wait for a correction")
    def get_quarantine() -> bodies.QuarantineAnswer:
        return answers.answer_quarantine(settings)


def _add_review(router: APIRouter, settings: Settings) -> None:
    @router.get("/review", dependencies=[Depends(needs("review"))], summary="All figures of the review")
    def get_review() -> bodies.ReviewAnswer:
        return answers.answer_review(settings, "", today=_today())

    @router.get("/review/{part}", dependencies=[Depends(needs("review"))], summary="One part of the review")
    def get_review_part(part: Annotated[str, Path(max_length=bodies.LONGEST_WORD)]) -> bodies.ReviewAnswer:
        return answers.answer_review(settings, part, today=_today())
