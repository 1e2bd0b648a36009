"""What the JSON API takes in and gives out. Shapes and sizes are checked here; the meaning is checked by `intake`."""

import re
from datetime import date
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, JsonValue

from analytics.case import CheckResult
from analytics.vocabulary import CONFIRMATIONS, OUTCOMES, RESULTS
from pipelines.cell_values import EARLIEST_YEAR, MOST_MINUTES

LONGEST_WORD, LONGEST_TEXT, LONGEST_LIST = 200, 4000, 40
LATEST_YEAR = 9999
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff\u2028\u2029]")
# Line breaks and tabs are usual in what a form's text area sends.
_CONTROL_IN_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")


def _one_line(text: str) -> str:
    if _CONTROL.search(text):
        raise ValueError("holds a control character or half a character; send plain text in one line")
    return text.strip()


def _some_lines(text: str) -> str:
    if _CONTROL_IN_TEXT.search(text):
        raise ValueError("holds a control character or half a character; send plain text")
    return text.strip()


def _is_day(text: str) -> str:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise ValueError("is not a date; write it like 2024-03-31")
    try:
        date.fromisoformat(text)
    except ValueError:
        raise ValueError("is not a day of the calendar; write it like 2024-03-31") from None
    return text


Word = Annotated[str, Field(max_length=LONGEST_WORD), AfterValidator(_one_line)]
Text = Annotated[str, Field(max_length=LONGEST_TEXT), AfterValidator(_some_lines)]
Day = Annotated[str, Field(max_length=10, json_schema_extra={"format": "date"}), AfterValidator(_is_day)]
Year = Annotated[int, Field(strict=True, ge=EARLIEST_YEAR, le=LATEST_YEAR)]
Minutes = Annotated[float, Field(ge=0, le=MOST_MINUTES, allow_inf_nan=False, strict=True)]
Words = Annotated[list[Word], Field(max_length=LONGEST_LIST)]
# The same words as everywhere; a test holds them equal to the vocabulary's.
Outcome = Literal["fault_found", "clear", "inconclusive", "cured", "not_cured"]
Result = Literal["", "fixed", "not_fixed", "no_fault_found", "handed_on"]
Confirmation = Literal["", "reproduced_and_cured", "cured", "symptom_went_away"]
ALLOWED_WORDS = {"outcome": (Outcome, OUTCOMES), "result": (Result, RESULTS), "sure": (Confirmation, CONFIRMATIONS)}


class Body(BaseModel):
    """A JSON object; a name that is not listed is refused, so that a slip of the pen is noticed."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class MadeCheck(Body):
    """One check that was made: its code or name, what it showed, and the minutes it took."""

    check: Word
    outcome: Outcome
    minutes: Minutes | None = None

    def as_result(self, code: str) -> CheckResult:
        """The same in the words of the core."""
        return CheckResult(code, self.outcome, self.minutes)


class CaseBody(Body):
    """One machine: symptom (code or name) and what else is known; `machine` is its name in the workshop `shop`."""

    symptom: Word
    machine: Word = ""
    family: Word = ""
    shop: Word = ""
    built_year: Year | None = None
    checks: Annotated[list[MadeCheck], Field(max_length=LONGEST_LIST)] = []
    also_present: Words = []
    also_absent: Words = []
    complaint: Text = ""


class TicketBody(Body):
    """One closed repair; it passes the same gate as a row of a file."""

    shop: Word
    ticket_number: Word
    opened_on: Day
    closed_on: Day | None = None
    symptom: Word
    machine: Word = ""
    family: Word = ""
    built_year: Year | None = None
    also_present: Words = []
    also_absent: Words = []
    complaint: Text = ""
    suspects: Words = []
    confirmation: Confirmation = ""
    result: Result = ""
    checks: Annotated[list[MadeCheck], Field(max_length=LONGEST_LIST)] = []
    minutes: Minutes | None = None


class Problem(BaseModel):
    """Why a request was refused: what was given, what is allowed, what to do."""

    problem: str


class SuspectLine(BaseModel):
    """One suspect: P(suspect | case) from 0 to 1 with its 90 % interval, and the same in words."""

    suspect: str
    name: str
    probability: float
    low_90: float
    high_90: float
    in_words: str


class SuspectsAnswer(BaseModel):
    """Suspects by falling odds, how many like tickets stand behind them; `came_back`: what its last repair tells."""

    symptom: str
    family: str
    came_back: str
    like_tickets_symptom: int
    like_tickets_symptom_and_family: int
    suspects: list[SuspectLine]


class NextCheckAnswer(BaseModel):
    """The check to make next ("" = hand the machine on), with its cautions; minutes include opening up."""

    check: str
    name: str
    instruction: str
    minutes: float | None
    cautions: list[str]
    expected_minutes: float
    chance_fixed: float
    in_words: str


class TicketAnswer(BaseModel):
    """What became of the ticket, and the codes its words were taken for."""

    ticket_id: str
    state: Literal["stored", "duplicate"]
    symptom: str
    family: str
    suspects: list[str]
    checks: list[str]
    sentence: str


class QuarantineAnswer(BaseModel):
    """Rows of files that wait for a correction."""

    waiting_rows: int
    sentence: str


class WordLine(BaseModel):
    """One code with its name."""

    code: str
    name: str


class WordsAnswer(BaseModel):
    """The words a form can offer."""

    families: list[WordLine]
    symptoms: list[WordLine]
    suspects: list[WordLine]
    checks: list[WordLine]


class Figure(BaseModel):
    """One figure of the review: question, finding, and the rows of its table."""

    question: str
    finding: str
    table: list[dict[str, JsonValue]]
    notes: list[str]


class ReviewAnswer(BaseModel):
    """Figures by part."""

    parts: dict[str, list[Figure]]
