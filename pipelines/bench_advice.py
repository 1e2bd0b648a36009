"""What the bench is told next: asked of the served fit, and kept so that it can be scored."""

from pathlib import Path

from analytics.advice import SENDOUT_MINUTES, Advice
from analytics.posterior import Posterior
from analytics.session import Session
from analytics.session_case import advise_session
from analytics.vocabulary import Vocabulary
from pipelines.last_repairs import with_last_repair
from pipelines.session_scores import keep_advice
from pipelines.sessions import read_stored_session


def serve_advice(
    store_path: Path,
    session: Session,
    *,
    posterior: Posterior,
    vocabulary: Vocabulary,
    sendout_minutes: float = SENDOUT_MINUTES,
) -> Advice:
    """Suspects and next check for an open session; what is said is kept and scored when the session closes.

    Raises
    ------
    InputError
        When the session is not there, names what the fit does not know, or its entries contradict each other.
    """
    known = with_last_repair(store_path, session, vocabulary)
    advice = advise_session(posterior, known, vocabulary, sendout_minutes=sendout_minutes)
    stored = read_stored_session(store_path, session.code)
    if not stored.ticket_id and stored.session.events == session.events:
        keep_advice(store_path, session.code, advice, position=len(stored.entries), fit_id=posterior.fit_id)
    return advice
