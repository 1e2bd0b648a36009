"""What the pages read, kept in memory by identity: fit, tickets, vocabulary. The only user of Streamlit's caches."""

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd
import streamlit as st

from analytics.advice import Advice, advise
from analytics.case import Case, LastRepair
from analytics.live_update import LiveUpdate
from analytics.posterior import Posterior
from analytics.session import Session
from analytics.session_case import advise_session
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.history import TicketCounts, count_checks_made, count_like_tickets, count_settled, read_evidence
from pipelines.last_repairs import with_last_repair
from pipelines.live import ServingState, load_live, serving_state
from pipelines.posteriors import list_fits
from pipelines.prior_sources import load_prior
from pipelines.refit_start import refit_unless_tried
from pipelines.review_parts import Part
from pipelines.reviews import review_shop
from pipelines.session_scores import ServedPlaces, keep_advice, read_served_places
from pipelines.sessions import StoredSession, list_open_sessions, read_stored_session
from pipelines.settings import Settings, read_settings
from pipelines.shelf_demand import PartDemand, read_part_demand
from pipelines.store import utc_now

type Stamp = tuple[tuple[str, int, int], ...]
# Data folder, fit, newest ticket, vocabulary: as long as they stay the same, so does every answer.
type ServedKey = tuple[Path, str, str, Stamp]


@dataclass(frozen=True)
class Served:
    """One fit with the vocabulary it is asked in, and what names the pair."""

    settings: Settings
    key: ServedKey
    vocabulary: Vocabulary
    posterior: Posterior

    @property
    def shops(self) -> tuple[str, ...]:
        """Workshops that the fit has tickets of."""
        return tuple(self.posterior.positions["shop"])


def store_facts() -> ServingState | None:
    """Facts of the store; None while there is none (looking must not make one)."""
    settings = read_settings()
    if not settings.store_path.exists():
        return None
    return _store_facts(settings.data_folder, _store_stamp(settings))


def served(facts: ServingState) -> Served:
    """The newest fit and the vocabulary.

    Raises
    ------
    InputError
        When the vocabulary contradicts itself or the draws are missing; says what to do.
    """
    settings = read_settings()
    stamp = _stamp(sorted(settings.vocabulary_folder.glob("*.csv")))
    vocabulary = _vocabulary(settings.vocabulary_folder, stamp)
    key = (settings.data_folder, facts.fit_id, facts.newest_ticket, stamp)
    return Served(settings, key, vocabulary, _live(key, settings, vocabulary).posterior)


def advice_on(case: Case, using: Served) -> Advice:
    """Suspects and plan of a case; InputError as for `advise`."""
    return _advice(case, using.key, using)


def stored_session(code: str, using: Served) -> StoredSession:
    """A session as it stands now: another screen may have gone on with it. A machine that came back knows its repair.

    Raises
    ------
    InputError
        When no session has the code.
    """
    stored = read_stored_session(using.settings.store_path, code)
    last = _last_repair(stored.session.code, using.key, stored.session, using)
    return replace(stored, session=replace(stored.session, last_repair=last))


def open_sessions(using: Served) -> pd.DataFrame:
    """Sessions that wait to be closed, newest first."""
    return list_open_sessions(using.settings.store_path)


def session_advice(session: Session, using: Served) -> Advice:
    """Suspects and plan for the machine as it stands on the bench; InputError as for `advise`."""
    return _session_advice(session, using.key, using)


def keep_served(advice: Advice, stored: StoredSession, using: Served) -> None:
    """Keeps what was recommended, to be scored when the ticket closes."""
    _keep_served(stored.session.code, len(stored.entries), using.key, advice, using)


def like_tickets(case: Case, using: Served) -> TicketCounts:
    """Tickets that stand behind the answer to a case."""
    return _like_tickets(using.key, case.symptom, case.family)


def live_update(using: Served) -> LiveUpdate:
    """The tickets closed since the fit: how many, and how far the odds they moved can be trusted."""
    return _live(using.key, using.settings, using.vocabulary)


def refit_when_due() -> None:
    """Starts a refit in the background when there is none yet, or the tickets since have used it up."""
    facts = store_facts()
    if facts is None:
        return
    if facts.fit_id:
        using = served(facts)
        _refit_when_spent(using.key, using.settings, using.vocabulary)
    elif facts.ticket_count:
        _refit_first(facts.ticket_count, read_settings())


def fits_so_far(settings: Settings) -> pd.DataFrame:
    """All fits of a store that is there, newest first; columns as in `sql/fits_so_far.sql`."""
    return _fits(settings.data_folder, _store_stamp(settings))


def served_places(settings: Settings) -> ServedPlaces:
    """The running score of what the bench was advised."""
    return _served_places(settings.data_folder, _store_stamp(settings))


def prior(using: Served) -> Posterior:
    """What is believed before any ticket; made in a second or two, without a sampler."""
    return _prior(using.settings.data_folder, using.key[-1], using.vocabulary)


def ticket_cells(using: Served) -> pd.DataFrame:
    """Stored tickets as counted cells; columns as `Evidence.cells`."""
    return _ticket_cells(using.key, using.vocabulary)


def checks_made(using: Served) -> dict[str, int]:
    """Check -> how often it was made."""
    return _checks_made(using.key)


def reviewed(part: str) -> tuple[Part, ...]:
    """The figures of one part of the Shop page, made once a day and whenever a ticket or a table changes.

    Raises
    ------
    InputError
        When the part cannot be made; says what to do.
    """
    settings = read_settings()
    tables = [*settings.vocabulary_folder.glob("*.csv"), *settings.data_folder.glob("*.csv")]
    stamp = (*_store_stamp(settings), *_stamp(sorted(tables)))
    return _reviewed(part, settings.data_folder, stamp, utc_now().date())


def part_demand(settings: Settings) -> PartDemand:
    """Uses of parts, counted once a day and whenever a ticket or a table changes; InputError as for its reading."""
    stamp = (*_store_stamp(settings), *_stamp(sorted(settings.vocabulary_folder.glob("*.csv"))))
    return _part_demand(settings.data_folder, stamp, utc_now().date())


def first_belief(settings: Settings) -> tuple[Vocabulary, Posterior]:
    """The vocabulary, and what is believed before any ticket; InputError when the vocabulary contradicts itself."""
    stamp = _stamp(sorted(settings.vocabulary_folder.glob("*.csv")))
    vocabulary = _vocabulary(settings.vocabulary_folder, stamp)
    return vocabulary, _prior(settings.data_folder, stamp, vocabulary)


def settled(symptom: str, using: Served) -> dict[str, int]:
    """Check -> fixed tickets of a symptom that it settled."""
    return _settled(using.key, symptom)


def _store_stamp(settings: Settings) -> Stamp:
    path = settings.store_path
    return _stamp([path, path.with_name(f"{path.name}.wal")])


def _stamp(paths: list[Path]) -> Stamp:
    """Changes when one of the files does; files are looked at, never opened (that would drop the store's lock)."""
    found = [(path, path.stat()) for path in paths if path.exists()]
    return tuple((path.name, stat.st_mtime_ns, stat.st_size) for path, stat in found)


@st.cache_data(max_entries=4, show_spinner=False)
def _store_facts(data_folder: Path, stamp: Stamp) -> ServingState:  # noqa: ARG001 - part of the key
    return serving_state(Settings(data_folder))


@st.cache_resource(max_entries=2, show_spinner=False)
def _vocabulary(folder: Path, stamp: Stamp) -> Vocabulary:  # noqa: ARG001 - part of the key
    return read_vocabulary(folder)


@st.cache_resource(max_entries=2, show_spinner=False)
def _live(key: ServedKey, _settings: Settings, _vocabulary: Vocabulary) -> LiveUpdate:  # noqa: ARG001 - the key
    return load_live(_settings, _vocabulary)


@st.cache_resource(max_entries=4, show_spinner=False)
def _refit_first(ticket_count: int, _settings: Settings) -> bool:  # noqa: ARG001 - the key
    return refit_unless_tried(_settings)


@st.cache_resource(max_entries=4, show_spinner=False)
def _refit_when_spent(key: ServedKey, _settings: Settings, _vocabulary: Vocabulary) -> bool:
    return _live(key, _settings, _vocabulary).is_spent and refit_unless_tried(_settings)


@st.cache_resource(max_entries=64, show_spinner=False)
def _advice(case: Case, key: ServedKey, _using: Served) -> Advice:  # noqa: ARG001 - part of the key
    return advise(_using.posterior, case, _using.vocabulary)


@st.cache_resource(max_entries=64, show_spinner=False)
def _session_advice(session: Session, key: ServedKey, _using: Served) -> Advice:  # noqa: ARG001 - part of the key
    return advise_session(_using.posterior, session, _using.vocabulary)


@st.cache_data(max_entries=256, show_spinner=False)
def _last_repair(code: str, key: ServedKey, _session: Session, _using: Served) -> LastRepair | None:  # noqa: ARG001
    return with_last_repair(_using.settings.store_path, _session, _using.vocabulary).last_repair


@st.cache_data(max_entries=1024, show_spinner=False)
def _keep_served(code: str, position: int, key: ServedKey, _advice: Advice, _using: Served) -> None:
    """Cached, so that a rerun of the page writes nothing."""
    keep_advice(_using.settings.store_path, code, _advice, position=position, fit_id=key[1])


@st.cache_data(max_entries=256, show_spinner=False)
def _like_tickets(key: ServedKey, symptom: str, family: str) -> TicketCounts:
    return count_like_tickets(Settings(key[0]).store_path, symptom=symptom, family=family)


@st.cache_data(max_entries=2, show_spinner=False)
def _fits(data_folder: Path, stamp: Stamp) -> pd.DataFrame:  # noqa: ARG001 - part of the key
    return list_fits(Settings(data_folder))


@st.cache_data(max_entries=2, show_spinner=False)
def _served_places(data_folder: Path, stamp: Stamp) -> ServedPlaces:  # noqa: ARG001 - part of the key
    return read_served_places(Settings(data_folder).store_path)


@st.cache_resource(max_entries=2, show_spinner=False)
def _prior(data_folder: Path, stamp: Stamp, _vocabulary: Vocabulary) -> Posterior:  # noqa: ARG001 - part of the key
    return load_prior(Settings(data_folder), _vocabulary)


@st.cache_data(max_entries=2, show_spinner=False)
def _ticket_cells(key: ServedKey, _vocabulary: Vocabulary) -> pd.DataFrame:
    return read_evidence(Settings(key[0]).store_path, _vocabulary).cells


@st.cache_data(max_entries=2, show_spinner=False)
def _checks_made(key: ServedKey) -> dict[str, int]:
    return count_checks_made(Settings(key[0]).store_path, "")


@st.cache_resource(max_entries=8, show_spinner=False)
def _reviewed(part: str, data_folder: Path, stamp: Stamp, today: date) -> tuple[Part, ...]:  # noqa: ARG001 - the key
    return dict(review_shop(Settings(data_folder), (part,), today=today))[part]


@st.cache_resource(max_entries=2, show_spinner=False)
def _part_demand(data_folder: Path, stamp: Stamp, today: date) -> PartDemand:  # noqa: ARG001 - part of the key
    vocabulary, before = first_belief(Settings(data_folder))
    return read_part_demand(Settings(data_folder), vocabulary, before, today=today)


@st.cache_data(max_entries=64, show_spinner=False)
def _settled(key: ServedKey, symptom: str) -> dict[str, int]:
    return count_settled(Settings(key[0]).store_path, symptom)
