"""The shop's own tickets as lessons in what owners' words mean."""

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.case import Case
from analytics.complaint import TextModel
from analytics.complaint_training import Complaints, train_text_model
from analytics.evidence import read_results
from analytics.live_update import MAX_NEW_SHARE
from analytics.many_cases import mean_odds
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.history import read_complaints

# What the belief rests on before a word is read.
KNOWN_BEFORE = ["symptom", "family", "shop", "from_age", "others"]


def learn_complaints(
    store_path: Path, posterior: Posterior, vocabulary: Vocabulary, *, until: date | None = None
) -> TextModel:
    """What owners' words add to the beliefs of a fit (whose own text model, if any, is left aside).

    Parameters
    ----------
    until : only tickets opened before this date; None for all
    """
    frame = read_complaints(store_path, vocabulary, until=until)
    # the fit has learnt from these same tickets, so words are believed rather too little than too much
    return train_text_model(
        Complaints(
            texts=frame["complaint"].tolist(),
            symptoms=frame["symptom"].tolist(),
            suspects=[tuple(filter(None, codes.split(";"))) for codes in frame["suspects"]],
            log_belief=_log_beliefs(frame, posterior, vocabulary),
        ),
        vocabulary,
    )


def knows_words(text: TextModel, store_path: Path, vocabulary: Vocabulary) -> bool:
    """Whether learning the words anew can wait: it knows nearly all confirmed tickets, and lists the same suspects."""
    confirmed = (read_complaints(store_path, vocabulary)["suspects"] != "").sum()
    is_same = text.suspects == tuple(vocabulary.suspects) and text.symptoms == tuple(vocabulary.symptoms)
    return is_same and bool(confirmed <= (1.0 + MAX_NEW_SHARE) * text.ticket_count)


def _log_beliefs(frame: pd.DataFrame, posterior: Posterior, vocabulary: Vocabulary) -> list[np.ndarray]:
    """Log belief of every row before its words and its checks; equal contexts are asked once."""
    groups = frame.groupby(KNOWN_BEFORE, dropna=False, sort=False).indices
    odds = mean_odds(posterior, [_case(*key) for key in groups], vocabulary)
    rows: list[np.ndarray] = [np.empty(0)] * len(frame)
    for places, found in zip(groups.values(), map(np.log, odds), strict=True):
        for at in places:
            rows[at] = found
    return rows


def _case(symptom: str, family: str, shop: str, from_age: float, others: str) -> Case:
    pairs = read_results(others)
    return Case(
        symptom=symptom,
        family=family,
        shop=shop,
        age_years=None if np.isnan(from_age) else int(from_age),
        also_present=tuple(code for code, presence in pairs if presence == "present"),
        also_absent=tuple(code for code, presence in pairs if presence == "absent"),
    )
