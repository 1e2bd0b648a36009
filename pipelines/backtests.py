"""Backtest: fits of what was known at earlier dates, scored on the tickets that came after, beside simpler methods."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd

from analytics.backtest import (
    Origin,
    Told,
    forecast_suspects,
    places_of_truth,
    rolling_origins,
    score_tickets,
    still_open,
    summarise_scores,
)
from analytics.baselines import (
    forecast_by_boosting,
    forecast_by_group,
    forecast_by_regression,
    forecast_by_symptom,
    forecast_by_worded_boosting,
    forecast_by_worded_regression,
    listed_suspects,
)
from analytics.errors import InputError
from analytics.fit import Effort, fit_evidence
from analytics.posterior import Diagnostics, Posterior
from analytics.scoring import calibration_bins
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.backtest_files import SCORED_CONFIRMATIONS, Backtest, save_backtest
from pipelines.catalogue import read_vocabulary
from pipelines.complaints import learn_complaints
from pipelines.fit_question import DEFAULT_SEED
from pipelines.history import read_closed_cases, read_evidence
from pipelines.prior_sources import read_wishes
from pipelines.settings import Settings

DEFAULT_FOLDS = 3
# Half the draws of a fit that is served: they blur the scores by less than the tickets do.
FOLD_EFFORT = Effort(tune=300, draws=400, chains=2)

MODEL, MODEL_WORDS, MODEL_TOLD = "this model", "this model, + owner's words", "this model, + words, other symptoms"
MODEL_CHECKS = ("this model, + those and the first check", "this model, + those and the first two checks")
SYMPTOM_COUNTS, SHOP_COUNTS = "counts by symptom", "counts by symptom and shop"
REGRESSION, REGRESSION_WORDS = "logistic regression", "logistic regression, + owner's words"
BOOSTING, BOOSTING_WORDS = "boosted trees", "boosted trees, + owner's words"
# Compared is what was told the same; more knowledge with our own forecast before it.
REFERENCES = {
    **dict.fromkeys((MODEL, MODEL_WORDS, SYMPTOM_COUNTS, SHOP_COUNTS, REGRESSION, BOOSTING), MODEL),
    **dict.fromkeys((MODEL_TOLD, REGRESSION_WORDS, BOOSTING_WORDS), MODEL_WORDS),
    **dict.fromkeys(MODEL_CHECKS, MODEL_TOLD),
}


@dataclass(frozen=True, eq=False)
class Fold:
    """One origin: tickets learnt from, how the fit went, scores by ticket, and what was said of every suspect."""

    origin: Origin
    learnt_from: int
    diagnostics: Diagnostics
    scores: pd.DataFrame
    forecast: np.ndarray
    outcome: np.ndarray


def run_backtest(
    settings: Settings,
    *,
    folds: int = DEFAULT_FOLDS,
    seed: int = DEFAULT_SEED,
    progress: Callable[[float], None] | None = None,
    effort: Effort = FOLD_EFFORT,
) -> Backtest:
    """Backtest of the stored tickets, kept as JSON in the data folder.

    Raises
    ------
    InputError
        When there are too few confirmed tickets to learn from some and score others.
    """
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    opened = read_closed_cases(settings.store_path, vocabulary)["opened_on"]
    if opened.empty:
        raise InputError("No ticket with a confirmed suspect is stored yet, so there is nothing to score.")
    origins = rolling_origins(opened.min().date(), opened.max().date(), folds)
    done = []
    for at, origin in enumerate(origins):

        def report(share: float, before: int = at) -> None:
            if progress is not None:
                progress((before + share) / len(origins))

        done.append(replay_origin(settings, origin, seed=seed + at, progress=report, effort=effort))
    found = gather_folds(done)
    save_backtest(settings, found)
    return found


def replay_origin(
    settings: Settings,
    origin: Origin,
    *,
    seed: int = DEFAULT_SEED,
    progress: Callable[[float], None] | None = None,
    effort: Effort = FOLD_EFFORT,
) -> Fold:
    """Learns from what was opened before the origin's start and scores what came in then; tickets as in `Fold`."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    learnt, asked = split_cases(settings, vocabulary, origin)
    posterior = fit_until(settings, vocabulary, origin.start, seed=seed, progress=progress, effort=effort)
    truth = places_of_truth(asked, vocabulary.suspects_by_symptom)
    parts, intake = [], np.empty((0, 0))
    for method, kept, said in (*_model(posterior, asked, vocabulary), *_baselines(learnt, asked, vocabulary)):
        parts.append(score_tickets(method, said, asked[kept], truth[kept]))
        intake = said if method == MODEL else intake
    used = listed_suspects(vocabulary.suspects_by_symptom)
    places = used.used[used.rows_of(asked)]
    hit = np.arange(places.shape[1]) == truth[:, None]
    return Fold(origin, posterior.ticket_count, posterior.diagnostics, pd.concat(parts), intake[places], hit[places])


def split_cases(settings: Settings, vocabulary: Vocabulary, origin: Origin) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Confirmed tickets to learn from, and those to score (columns of `read_closed_cases`).

    Raises
    ------
    InputError
        When one of the two is empty.
    """
    learnt = read_closed_cases(settings.store_path, vocabulary, until=origin.start)
    later = read_closed_cases(settings.store_path, vocabulary, since=origin.start, until=origin.end)
    asked = later[later["confirmation"].isin(SCORED_CONFIRMATIONS)].reset_index(drop=True)
    if learnt.empty or asked.empty:
        which = f"before {origin.start}" if learnt.empty else f"from {origin.start} to {origin.end}"
        raise InputError(f"No ticket {which} has a confirmed suspect. Ask for fewer folds, or wait for more tickets.")
    return learnt, asked


def fit_until(
    settings: Settings,
    vocabulary: Vocabulary,
    until: date,
    *,
    seed: int,
    progress: Callable[[float], None] | None = None,
    effort: Effort = FOLD_EFFORT,
) -> Posterior:
    """The posterior, words included, of the tickets opened before a day; nothing is published."""
    posterior = fit_evidence(
        read_evidence(settings.store_path, vocabulary, until=until),
        vocabulary,
        link_prior=read_wishes(settings, vocabulary).link_prior,
        priors=Priors(),
        seed=seed,
        progress=progress,
        effort=effort,
    )
    return replace(posterior, text=learn_complaints(settings.store_path, posterior, vocabulary, until=until))


def gather_folds(folds: Sequence[Fold]) -> Backtest:
    """All folds in one table, every ticket once."""
    scores = pd.concat([fold.scores for fold in folds])
    bins = calibration_bins(
        np.concatenate([fold.forecast for fold in folds]), np.concatenate([fold.outcome for fold in folds])
    )
    rows = [
        {
            "start": fold.origin.start.isoformat(),
            "end": fold.origin.end.isoformat(),
            "learnt_from": fold.learnt_from,
            "scored": fold.scores["ticket_id"].nunique(),
            "max_rhat": fold.diagnostics.max_rhat,
            "min_ess": fold.diagnostics.min_ess,
            "divergence_count": fold.diagnostics.divergence_count,
        }
        for fold in folds
    ]
    return Backtest(
        made_at=datetime.now(UTC).replace(tzinfo=None, microsecond=0),
        folds=pd.DataFrame(rows),
        table=summarise_scores(scores, REFERENCES),
        calibration=pd.DataFrame(asdict(bins)),
    )


def _model(
    posterior: Posterior, asked: pd.DataFrame, vocabulary: Vocabulary
) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    """(method, rows scored, (row, place)): the model told more and more."""
    everybody = np.ones(len(asked), dtype=bool)
    for method, told in (
        (MODEL, Told()),
        (MODEL_WORDS, Told(words=True)),
        (MODEL_TOLD, Told(words=True, others=True)),
    ):
        yield method, everybody, forecast_suspects(posterior, asked, vocabulary, told)
    for checks, method in enumerate(MODEL_CHECKS, start=1):
        kept = still_open(asked, checks)
        if kept.any():
            told = Told(words=True, others=True, checks=checks)
            yield method, kept, forecast_suspects(posterior, asked[kept], vocabulary, told)


def _baselines(
    learnt: pd.DataFrame, asked: pd.DataFrame, vocabulary: Vocabulary
) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    listed, everybody = listed_suspects(vocabulary.suspects_by_symptom), np.ones(len(asked), dtype=bool)
    yield SYMPTOM_COUNTS, everybody, forecast_by_symptom(learnt, asked, listed)
    yield SHOP_COUNTS, everybody, forecast_by_group(learnt, asked, listed, column="shop")
    yield REGRESSION, everybody, forecast_by_regression(learnt, asked, listed)
    yield BOOSTING, everybody, forecast_by_boosting(learnt, asked, listed)
    yield REGRESSION_WORDS, everybody, forecast_by_worded_regression(learnt, asked, listed)
    yield BOOSTING_WORDS, everybody, forecast_by_worded_boosting(learnt, asked, listed)
