"""Simpler ways to forecast a suspect, each as strong as it can be made: what the hierarchical model has to beat."""

import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.linear_model import LogisticRegression

from analytics.backtest import places_of_truth
from analytics.baseline_columns import KNOWN, one_hot, one_hot_and_words, ordinal, ordinal_and_words
from analytics.vocabulary import SOMETHING_ELSE

# Everything is tuned inside the training part, by log loss on rows left out: row number modulo FOLDS.
FOLDS = 4
PSEUDO_TICKETS = (0.03, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0)
BORROWED_TICKETS = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 512.0)
REGRESSION_C = (0.03, 0.1, 0.3, 1.0, 3.0)
TEXT_REGRESSION_C = (0.3, 1.0, 3.0, 10.0, 30.0)
# (trees for each suspect, leaves of a tree)
BOOSTING = ((15, 4), (40, 4), (15, 12))
# Share of the counts by symptom blended into a classifier, which calls impossible what it has not met and needs many
# tickets to learn what each symptom's counts say at once.
COUNT_SHARES = (0.003, 0.01, 0.03, 0.1, 0.3, 0.6, 0.9)

# (training, asked, setting) -> (row of asked, place); rows sum to 1 or to 0.
_Forecast = Callable[[pd.DataFrame, pd.DataFrame, Any], np.ndarray]


@dataclass(frozen=True, eq=False)
class Listed:
    """The lists to choose from: codes by symptom; `used` (symptom, place) where a list has that place."""

    codes: Mapping[str, Sequence[str]]
    used: np.ndarray

    def rows_of(self, tickets: pd.DataFrame) -> np.ndarray:
        """(row,) position of the symptom."""
        return tickets["symptom"].map({code: at for at, code in enumerate(self.codes)}).to_numpy(dtype=int)


def listed_suspects(codes: Mapping[str, Sequence[str]]) -> Listed:
    """Lists of suspects by symptom, each with `something_else`, as the baselines read them."""
    sizes = np.array([len(listed) for listed in codes.values()])
    return Listed(codes, np.arange(sizes.max()) < sizes[:, None])


def forecast_by_symptom(training: pd.DataFrame, asked: pd.DataFrame, listed: Listed) -> np.ndarray:
    """(row, place): counts of the symptom with the same number of pseudo-tickets on every suspect of its list.

    Parameters
    ----------
    training, asked : frames, one row a ticket and suspect: symptom, family, shop, age_band, complaint; of `training`
        also suspect and weight
    """
    forecast = _by_symptom(listed)
    return forecast(training, asked, _choose(forecast, PSEUDO_TICKETS, training, listed))


def forecast_by_group(training: pd.DataFrame, asked: pd.DataFrame, listed: Listed, *, column: str) -> np.ndarray:
    """(row, place): counts of the symptom within the same `column` (shop, say), borrowing from all of the symptom."""

    def forecast(known: pd.DataFrame, wanted: pd.DataFrame, setting: tuple[float, float]) -> np.ndarray:
        pseudo, borrowed = setting
        whole = _shares(_counts(known, listed), listed, pseudo)
        out = whole[listed.rows_of(wanted)]
        for group, places in wanted.groupby(column).indices.items():
            counts = _counts(known[known[column] == group], listed) + borrowed * whole
            out[places] = (counts / counts.sum(1, keepdims=True))[listed.rows_of(wanted.iloc[places])]
        return out

    settings = [(pseudo, borrowed) for pseudo in PSEUDO_TICKETS[2:6] for borrowed in BORROWED_TICKETS]
    return forecast(training, asked, _choose(forecast, settings, training, listed))


def forecast_by_regression(training: pd.DataFrame, asked: pd.DataFrame, listed: Listed) -> np.ndarray:
    """(row, place): multinomial logistic regression on symptom, family, shop and age band, one-hot."""
    return _tuned(training, asked, listed, forecast=_regression(listed, one_hot), settings=REGRESSION_C)


def forecast_by_worded_regression(training: pd.DataFrame, asked: pd.DataFrame, listed: Listed) -> np.ndarray:
    """(row, place): the same with TF-IDF of the complaint's words and pairs of words."""
    return _tuned(training, asked, listed, forecast=_regression(listed, one_hot_and_words), settings=TEXT_REGRESSION_C)


def forecast_by_boosting(training: pd.DataFrame, asked: pd.DataFrame, listed: Listed) -> np.ndarray:
    """(row, place): gradient-boosted trees on symptom, family, shop and age band as categories."""
    return _tuned(training, asked, listed, forecast=_boosting(listed, ordinal), settings=BOOSTING)


def forecast_by_worded_boosting(training: pd.DataFrame, asked: pd.DataFrame, listed: Listed) -> np.ndarray:
    """(row, place): the same with the `TEXT_DIRECTIONS` main directions of the complaint's TF-IDF."""
    return _tuned(training, asked, listed, forecast=_boosting(listed, ordinal_and_words), settings=BOOSTING)


def _by_symptom(listed: Listed) -> _Forecast:
    def forecast(known: pd.DataFrame, wanted: pd.DataFrame, pseudo: float) -> np.ndarray:
        return _shares(_counts(known, listed), listed, pseudo)[listed.rows_of(wanted)]

    return forecast


def _regression(listed: Listed, encode: Callable[[pd.DataFrame, pd.DataFrame], tuple[Any, Any]]) -> _Forecast:
    def forecast(known: pd.DataFrame, wanted: pd.DataFrame, c: float) -> np.ndarray:
        return _classify(LogisticRegression(C=c, max_iter=2000), known, wanted, listed, encode=encode)

    return forecast


def _boosting(listed: Listed, encode: Callable[[pd.DataFrame, pd.DataFrame], tuple[Any, Any]]) -> _Forecast:
    def forecast(known: pd.DataFrame, wanted: pd.DataFrame, setting: tuple[int, int]) -> np.ndarray:
        trees, leaves = setting
        model = HistGradientBoostingClassifier(
            learning_rate=0.1,
            max_iter=trees,
            max_leaf_nodes=leaves,
            min_samples_leaf=10,
            categorical_features=list(range(len(KNOWN))),
            early_stopping=False,
            random_state=0,
        )
        return _classify(model, known, wanted, listed, encode=encode)

    return forecast


def _classify(
    model: Any,
    known: pd.DataFrame,
    wanted: pd.DataFrame,
    listed: Listed,
    *,
    encode: Callable[[pd.DataFrame, pd.DataFrame], tuple[Any, Any]],
) -> np.ndarray:
    """Class probabilities put into the places of each row's own list; suspects not listed count as something else."""
    target = _listed_codes(known, listed)
    if target.nunique() < 2:
        return np.zeros((len(wanted), listed.used.shape[1]))
    from_known, from_wanted = encode(known, wanted)
    with warnings.catch_warnings():
        # a few dozen tickets may have as many suspects as half of them
        warnings.filterwarnings("ignore", message="The number of unique classes", category=UserWarning)
        model.fit(from_known, target, sample_weight=known["weight"].to_numpy())
    by_class = np.column_stack([model.predict_proba(from_wanted), np.zeros(len(wanted))])
    at = {code: column for column, code in enumerate(model.classes_)}
    column = np.full(listed.used.shape, len(at))
    for row, codes in enumerate(listed.codes.values()):
        column[row, : len(codes)] = [at.get(code, len(at)) for code in codes]
    return np.take_along_axis(by_class, column[listed.rows_of(wanted)], axis=1)


def _tuned(
    training: pd.DataFrame, asked: pd.DataFrame, listed: Listed, *, forecast: _Forecast, settings: Sequence[Any]
) -> np.ndarray:
    """Forecasts with the setting and the blend with counts that did best on training rows left out."""
    counts = _by_symptom(listed)
    pseudo = _choose(counts, PSEUDO_TICKETS, training, listed)
    plain = _left_out(counts, pseudo, training)
    losses = {}
    for setting in settings:
        raw = _left_out(forecast, setting, training)
        for share in COUNT_SHARES:
            losses[setting, share] = _loss(_blend(raw, plain, share), training, listed)
    setting, share = min(losses, key=lambda choice: losses[choice])
    return _blend(forecast(training, asked, setting), counts(training, asked, pseudo), share)


def _blend(raw: np.ndarray, counts: np.ndarray, share: float) -> np.ndarray:
    """Raw forecasts made to sum to 1 within the list, with a share of the counts; the counts where there are none."""
    total = raw.sum(1, keepdims=True)
    within = np.where(total > 0.0, raw / np.where(total > 0.0, total, 1.0), counts)
    return (1.0 - share) * within + share * counts


def _choose(forecast: _Forecast, settings: Sequence[Any], training: pd.DataFrame, listed: Listed) -> Any:
    return min(settings, key=lambda setting: _loss(_left_out(forecast, setting, training), training, listed))


def _left_out(forecast: _Forecast, setting: Any, training: pd.DataFrame) -> np.ndarray:
    """(row of training, place) forecasts by what was learnt without the row's fold."""
    fold = np.arange(len(training)) % FOLDS
    parts = [forecast(training[fold != at], training[fold == at], setting) for at in range(FOLDS)]
    out = np.empty((len(training), parts[0].shape[1]))
    for at, part in enumerate(parts):
        out[fold == at] = part
    return out


def _loss(probabilities: np.ndarray, tickets: pd.DataFrame, listed: Listed) -> float:
    truth = places_of_truth(tickets, listed.codes)
    said = np.log(probabilities[np.arange(len(truth)), truth])
    return float(-np.average(said, weights=tickets["weight"]))


def _counts(tickets: pd.DataFrame, listed: Listed) -> np.ndarray:
    """(symptom, place) tickets."""
    counts = np.zeros(listed.used.shape)
    np.add.at(counts, (listed.rows_of(tickets), places_of_truth(tickets, listed.codes)), tickets["weight"].to_numpy())
    return counts


def _shares(counts: np.ndarray, listed: Listed, pseudo: float) -> np.ndarray:
    smoothed = counts + pseudo * listed.used
    return smoothed / smoothed.sum(1, keepdims=True)


def _listed_codes(tickets: pd.DataFrame, listed: Listed) -> pd.Series:
    pairs = zip(tickets["symptom"], tickets["suspect"], strict=True)
    return pd.Series([code if code in listed.codes[symptom] else SOMETHING_ELSE for symptom, code in pairs])
