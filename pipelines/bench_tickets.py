"""A ticket as the bench closes it, in codes -> the texts a row of the ticket template would hold."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from analytics.case import CheckResult


@dataclass(frozen=True)
class TicketRow:
    """One ticket in codes of the vocabulary, as a bench closes it; `suspects` are confirmed ones."""

    shop: str
    ticket_number: str
    opened_on: date
    symptom: str
    machine: str = ""
    family: str = ""
    built_year: int | None = None
    closed_on: date | None = None
    also_present: tuple[str, ...] = ()
    also_absent: tuple[str, ...] = ()
    complaint: str = ""
    suspects: tuple[str, ...] = ()
    confirmation: str = ""
    result: str = ""
    checks: tuple[CheckResult, ...] = ()
    minutes: float | None = None


def field_texts(ticket: TicketRow) -> dict[str, str]:
    """The ticket as the ticket template would have it written: field -> text."""
    absent = [f"not: {symptom}" for symptom in ticket.also_absent]
    checks = [
        f"{made.check} = {made.outcome}" + ("" if made.minutes is None else f" / {_minutes_text(made.minutes)}")
        for made in ticket.checks
    ]
    return {
        "ticket": ticket.ticket_number,
        "shop": ticket.shop,
        "machine": ticket.machine,
        "family": ticket.family,
        "built_year": "" if ticket.built_year is None else str(ticket.built_year),
        "opened_on": ticket.opened_on.isoformat(),
        "closed_on": "" if ticket.closed_on is None else ticket.closed_on.isoformat(),
        "symptom": "; ".join([ticket.symptom, *ticket.also_present, *absent]),
        "complaint": ticket.complaint,
        "suspect": "; ".join(ticket.suspects),
        "confirmation": ticket.confirmation,
        "result": ticket.result,
        "checks": "; ".join(checks),
        "minutes": "" if ticket.minutes is None else _minutes_text(ticket.minutes),
    }


def _minutes_text(minutes: float) -> str:
    """The shortest text that reads back as the same number, never with an exponent."""
    return np.format_float_positional(minutes, trim="-")
