"""The last repair of a machine that came back with the same symptom, and what the shop's comebacks say about it."""

from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path

from analytics.case import LastRepair
from analytics.comebacks import COMEBACK_DAYS, Pairs, chance_again
from analytics.session import Session
from analytics.vocabulary import Vocabulary
from pipelines.sessions import ticket_number
from pipelines.store import Connection, reading, run_query


@dataclass(frozen=True)
class Visit:
    """A machine that is here now: whose, which, with what, since when; `ticket_number` of this visit ("" = none)."""

    shop: str
    machine: str
    symptom: str
    day: date
    ticket_number: str = ""


def with_last_repair(store_path: Path, session: Session, vocabulary: Vocabulary) -> Session:
    """The session, knowing what was repaired last time where its machine came back with the same symptom."""
    if not session.machine:
        return session
    visit = Visit(session.shop, session.machine, session.symptom, session.opened_on, ticket_number(session.code))
    return replace(session, last_repair=find_last_repair(store_path, visit, vocabulary))


def find_last_repair(store_path: Path, visit: Visit, vocabulary: Vocabulary) -> LastRepair | None:
    """The machine's last repair for this symptom within `COMEBACK_DAYS` before a visit; None when there was none."""
    if not store_path.exists():
        return None
    with reading(store_path) as con:
        return _find(con, visit, vocabulary)


def _find(con: Connection, visit: Visit, vocabulary: Vocabulary) -> LastRepair | None:
    found = run_query(con, "last_repair", **asdict(visit), longest=COMEBACK_DAYS)
    if found.empty:
        return None
    suspect = str(found["suspect"].iloc[0])
    again = chance_again(count_pairs(con, vocabulary), mode_of(suspect, vocabulary))
    return LastRepair(suspect, int(found["days"].iloc[0]), again)


def count_pairs(con: Connection, vocabulary: Vocabulary, *, until: date | None = None) -> dict[str, Pairs]:
    """Failure mode of the first suspect -> the shop's comebacks with both suspects confirmed.

    Parameters
    ----------
    until : only comebacks opened before this date; None for all
    """
    counted: dict[str, Pairs] = {}
    for row in run_query(con, "comeback_pairs", longest=COMEBACK_DAYS, until=until).itertuples(index=False):
        mode = mode_of(row.suspect, vocabulary)
        before = counted.get(mode, Pairs())
        counted[mode] = Pairs(before.same + row.same, before.other + row.other)
    return counted


def mode_of(suspect: str, vocabulary: Vocabulary) -> str:
    """Failure mode of a suspect; "" for one without, or one that left the vocabulary."""
    return vocabulary.suspects[suspect].failure_mode if suspect in vocabulary.suspects else ""
