"""Bench sessions in the store: opened, recorded entry by entry, brought up by their code, closed as a ticket."""

import secrets
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from analytics.errors import InputError
from analytics.session import BenchEvent, Session, apply_event, undo, validate_facts
from analytics.session_closing import Closing, checks_made, total_minutes, validate_closing
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.intake import read_bench_ticket, store_bench_ticket
from pipelines.session_scores import score_session
from pipelines.store import Connection, reading, run_query, utc_now, writing

# Nothing that is misread in handwriting (0 O, 1 I L, 2 Z, 5 S, 8 B, U V), and no vowels, so that no code is a word.
CODE_LETTERS = "34679CDFGHJKMNPQRTVWXY"
CODE_LENGTH = 6
UNDO = "undo"
_TEXTS = ("code", "shop", "symptom", "machine", "family", "complaint")


@dataclass(frozen=True)
class StoredSession:
    """A session as stored: what still stands, the number of entries ever made, and its ticket ("" while open)."""

    session: Session
    entries: tuple[BenchEvent, ...]
    ticket_id: str


def start_session(store_path: Path, facts: Session, vocabulary: Vocabulary) -> Session:
    """Open a session and return it with its code.

    Parameters
    ----------
    facts : code and events are not read; a blank family or year is taken from the machine's last ticket

    Raises
    ------
    InputError
        When shop or symptom are missing or unknown, or the facts contradict each other.
    """
    validate_facts(facts, vocabulary)
    with writing(store_path) as con:
        session = _fill_in(con, replace(facts, shop=facts.shop.strip(), machine=facts.machine.strip(), events=()))
        validate_facts(session, vocabulary)
        session = replace(session, code=_free_code(con))
        row = {name: getattr(session, name) for name in ("code", "opened_on", "shop", "machine", "family")}
        rest = {name: getattr(session, name) for name in ("built_year", "symptom", "complaint")}
        run_query(con, "insert_bench_session", opened_at=utc_now(), **row, **rest)
    return session


def read_session(store_path: Path, code: str) -> Session:
    """The session with this code, open or closed; case, blanks and dashes do not matter.

    Raises
    ------
    InputError
        When no session has the code.
    """
    return read_stored_session(store_path, code).session


def read_stored_session(store_path: Path, code: str) -> StoredSession:
    """The same with all its entries and its ticket."""
    with reading(store_path) as con:
        return _read(con, code)


def record_event(store_path: Path, session: Session, event: BenchEvent, vocabulary: Vocabulary) -> Session:
    """Record one more entry and return the session with it.

    Raises
    ------
    InputError
        When the entry cannot be (see `apply_event`), the session is closed, or somebody recorded in the meantime.
    """
    after = apply_event(session, event, vocabulary)
    _append(store_path, session, event)
    return after


def undo_event(store_path: Path, session: Session) -> Session:
    """Take back the last entry; that it was made and taken back stays in the store."""
    after = undo(session)
    _append(store_path, session, BenchEvent(UNDO))
    return after


def close_session(
    store_path: Path, session: Session, closing: Closing, *, vocabulary: Vocabulary, today: date
) -> TicketRow:
    """Close a session and store its ticket, in one transaction: a crash leaves the open session or the ticket.

    Returns
    -------
    The ticket as it was stored, source `bench`.

    Raises
    ------
    InputError
        When the closing does not fit the session, the ticket is refused, or the session was closed or changed.
    """
    validate_closing(session, closing, vocabulary)
    ticket = write_ticket(session, closing, today=today)
    rows = read_bench_ticket(ticket, vocabulary, today=today)
    with writing(store_path) as con:
        stored = _read_unchanged(con, session)
        ticket_id = store_bench_ticket(con, rows)
        run_query(con, "insert_session_closing", code=session.code, ticket_id=ticket_id, closed_at=utc_now())
        score_session(con, session.code, [standing(stored.entries[:at]) for at in range(len(stored.entries) + 1)],
                      suspects=closing.suspects)  # fmt: skip
    return ticket


def write_ticket(session: Session, closing: Closing, *, today: date) -> TicketRow:
    """The ticket that a closed session is; nothing is stored."""
    return TicketRow(
        shop=session.shop,
        ticket_number=ticket_number(session.code),
        opened_on=session.opened_on,
        symptom=session.symptom,
        machine=session.machine,
        family=session.family,
        built_year=session.built_year,
        closed_on=today,
        also_present=session.about("present"),
        also_absent=session.about("absent"),
        complaint=session.complaint,
        suspects=closing.suspects,
        confirmation=closing.confirmation,
        result=closing.result,
        checks=checks_made(session),
        minutes=total_minutes(session, closing),
    )


def ticket_number(code: str) -> str:
    """Number of the ticket that a session becomes."""
    return f"B-{code}"


def list_open_sessions(store_path: Path) -> pd.DataFrame:
    """Sessions that wait to be closed, newest first; columns as in `sql/open_sessions.sql`."""
    with reading(store_path) as con:
        return run_query(con, "open_sessions")


def standing(entries: tuple[BenchEvent, ...]) -> tuple[BenchEvent, ...]:
    """The events that still stand: each `undo` takes back the last one before it."""
    events: list[BenchEvent] = []
    for entry in entries:
        if entry.kind == UNDO:
            events.pop()
        else:
            events.append(entry)
    return tuple(events)


def _append(store_path: Path, session: Session, event: BenchEvent) -> None:
    with writing(store_path) as con:
        stored = _read_unchanged(con, session)
        row = {"kind": event.kind, "about": event.about, "minutes": event.minutes, "recorded_at": utc_now()}
        run_query(con, "insert_session_event", code=session.code, position=len(stored.entries) + 1, **row)


def _read_unchanged(con: Connection, session: Session) -> StoredSession:
    stored = _read(con, session.code)
    if stored.ticket_id:
        raise InputError(f"Session {session.code} is closed: its ticket is stored. Open a new session for the machine.")
    if stored.session.events != session.events:
        raise InputError(
            f"Something was recorded in session {session.code} in the meantime, on another screen. Bring the session "
            "up again and look before you go on."
        )
    return stored


def _read(con: Connection, code: str) -> StoredSession:
    tidy = "".join(code.split()).replace("-", "").upper()
    found = run_query(con, "bench_session", code=tidy)
    if found.empty:
        raise InputError(f"No session has the code '{code}'. `faultodds bench --open` lists those that wait.")
    row = found.iloc[0]
    rows = run_query(con, "session_events", code=tidy).itertuples(index=False)
    entries = tuple(
        BenchEvent(entry.kind, entry.about, None if pd.isna(entry.minutes) else entry.minutes) for entry in rows
    )
    texts: dict[str, Any] = {name: str(row[name]) for name in _TEXTS}
    session = Session(
        **texts,
        opened_on=row["opened_on"].date(),
        built_year=None if pd.isna(row["built_year"]) else int(row["built_year"]),
        events=standing(entries),
    )
    return StoredSession(session, entries, "" if pd.isna(row["ticket_id"]) else str(row["ticket_id"]))


def _fill_in(con: Connection, facts: Session) -> Session:
    found = run_query(con, "machine_facts", shop=facts.shop, machine=facts.machine)
    if not facts.machine or found.empty:
        return facts
    year = found["built_year"].iloc[0]
    known_year = None if pd.isna(year) else int(year)
    return replace(
        facts,
        family=facts.family or str(found["family"].iloc[0]),
        built_year=known_year if facts.built_year is None else facts.built_year,
    )


def _free_code(con: Connection) -> str:
    while True:
        code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        if run_query(con, "bench_session", code=code).empty:
            return code
