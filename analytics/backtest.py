"""Closed tickets replayed as they unfolded: what would have been said of them before their suspect was known."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pandas as pd

from analytics.case import Case, CheckResult
from analytics.errors import InputError
from analytics.evidence import read_results
from analytics.posterior import Posterior
from analytics.scoring import rank_of_truth
from analytics.suspects import belief
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary

# The first half of the time is only learnt from: a fit of a handful of tickets says little about the tool.
LEARNING_SHARE = 0.5


@dataclass(frozen=True)
class Origin:
    """Learn from tickets opened before `start`, score those opened from then on and before `end`."""

    start: date
    end: date


@dataclass(frozen=True)
class Told:
    """How much of a ticket a forecast may know beside symptom, family, shop and age: words, other symptoms, checks."""

    words: bool = False
    others: bool = False
    checks: int = 0


def rolling_origins(first: date, last: date, folds: int) -> tuple[Origin, ...]:
    """Origins that move forward through the days from `first` to `last`, both included.

    The first `LEARNING_SHARE` of the days is learnt from only; the rest is cut into `folds` stretches of equal length,
    each scored by a fit of all that came before it.

    Raises
    ------
    InputError
        For no fold at all, or more folds than there are days to score.

    Notes
    -----
    Rolling-origin evaluation: Tashman, International Journal of Forecasting 16 (2000).

    Examples
    --------
    >>> [str(origin.start) for origin in rolling_origins(date(2020, 1, 1), date(2020, 1, 8), 2)]
    ['2020-01-05', '2020-01-07']
    """
    days = (last - first).days + 1
    learning = int(LEARNING_SHARE * days)
    if not 1 <= folds <= days - learning or learning < 1:
        raise InputError(
            f"{folds} folds cannot be cut from tickets of {max(days, 0)} days. Allowed: 1 to {max(days - learning, 0)}."
        )
    edges = [first + timedelta(days=learning + (days - learning) * at // folds) for at in range(folds + 1)]
    return tuple(Origin(start, end) for start, end in pairwise(edges))


def places_of_truth(tickets: pd.DataFrame, listed: Mapping[str, Sequence[str]]) -> np.ndarray:
    """(row,) place of the confirmed suspect in its symptom's list; one that is not listed counts as something else.

    Parameters
    ----------
    tickets : frame with the columns symptom and suspect
    listed : symptom -> codes of its suspects, `something_else` among them
    """
    place = {(symptom, code): at for symptom, codes in listed.items() for at, code in enumerate(codes)}
    other = {symptom: place[symptom, SOMETHING_ELSE] for symptom in listed}
    pairs = zip(tickets["symptom"], tickets["suspect"], strict=True)
    return np.array([place.get(pair, other[pair[0]]) for pair in pairs], dtype=int)


def forecast_suspects(posterior: Posterior, tickets: pd.DataFrame, vocabulary: Vocabulary, told: Told) -> np.ndarray:
    """(row, place): P(suspect | what was told by then), as `suspects.belief` would have served it.

    Parameters
    ----------
    tickets : frame, one row a ticket and confirmed suspect: symptom, family, shop, age (years, missing for unknown),
        complaint, others ("symptom=present;..."), results ("check=outcome;..." in the order made)
    told : with n checks the first n results are known; rows with fewer know all of theirs (see `still_open`)

    Returns
    -------
    Rows sum to 1; places as in `Vocabulary.suspects_of`, those beyond a shorter list are 0.
    """
    width = max(len(codes) for codes in vocabulary.suspects_by_symptom.values())
    cases = [_case(*row, told=told) for row in zip(*(tickets[name] for name in _CASE_COLUMNS), strict=True)]
    said = {case: belief(posterior, case, vocabulary).mean for case in dict.fromkeys(cases)}
    padded = {case: np.pad(mean, (0, width - len(mean))) for case, mean in said.items()}
    return np.array([padded[case] for case in cases]).reshape(-1, width)


def still_open(tickets: pd.DataFrame, checks: int) -> np.ndarray:
    """(row,) whether the ticket went on after so many checks: the last check often is the cure, and no forecast."""
    return tickets["results"].map(lambda text: len(read_results(text)) > checks).to_numpy(dtype=bool)


def score_tickets(method: str, probabilities: np.ndarray, tickets: pd.DataFrame, truth: np.ndarray) -> pd.DataFrame:
    """Scores of one method, one row a ticket.

    Parameters
    ----------
    probabilities : (row, place) what was said
    tickets : frame in step: ticket_id, weight (1/n for each of n confirmed suspects)
    truth : (row,) place of the confirmed suspect

    Returns
    -------
    Frame: method, ticket_id, log_loss (nats), brier (0 to 2), rank (1 is best) - the smaller the better - and top_1,
    top_3 (share of the ticket's suspects among the first one and three).
    """
    said = probabilities[np.arange(len(truth)), truth]
    rank = rank_of_truth(probabilities, truth)
    with np.errstate(divide="ignore"):
        loss = -np.log(said)
    scores = {
        "log_loss": loss,
        "brier": (probabilities**2).sum(axis=1) - 2.0 * said + 1.0,
        "rank": rank,
        "top_1": rank <= 1.0,
        "top_3": rank <= 3.0,
    }
    weight = tickets["weight"].to_numpy()
    weighted = pd.DataFrame({name: values * weight for name, values in scores.items()})
    by_ticket = weighted.groupby(tickets["ticket_id"].to_numpy(), sort=False).sum()
    return by_ticket.reset_index(names="ticket_id").assign(method=method)[["method", "ticket_id", *scores]]


def summarise_scores(scores: pd.DataFrame, references: Mapping[str, str]) -> pd.DataFrame:
    """One row a method: method, tickets, log_loss, brier, rank, top_1, top_3 (means), reference, behind, behind_se,
    top_3_behind, top_3_behind_se.

    Parameters
    ----------
    scores : rows of `score_tickets` of several methods
    references : method -> the method that it is compared with

    Returns
    -------
    `behind` is the mean difference in log loss from the reference over the tickets that both scored (above 0: worse),
    `behind_se` its paired standard error: the same tickets are hard for everybody, and that cancels. Likewise
    `top_3_behind`: by how much less of the truth is among its first three suspects (above 0: worse).
    """
    losses, hits = (scores.pivot_table(index="ticket_id", columns="method", values=column, sort=False)
                    for column in ("log_loss", "top_3"))  # fmt: skip
    rows = []
    for method, own in scores.groupby("method", sort=False):
        reference = references[str(method)]
        means = own[["log_loss", "brier", "rank", "top_1", "top_3"]].mean()
        behind, error = _paired_mean(losses[method] - losses[reference])
        missed, missed_error = _paired_mean(hits[reference] - hits[method])
        told = {"behind": behind, "behind_se": error, "top_3_behind": missed, "top_3_behind_se": missed_error}
        rows.append({"method": method, "tickets": len(own), **means, "reference": reference, **told})
    return pd.DataFrame(rows)


def _paired_mean(differences: pd.Series) -> tuple[float, float]:
    """Mean over the tickets that both scored, and its standard error."""
    found = differences.dropna().to_numpy(float)
    error = found.std(ddof=1) / np.sqrt(len(found)) if len(found) > 1 else float("nan")
    return float(found.mean()), float(error)


_CASE_COLUMNS = ("symptom", "family", "shop", "age", "complaint", "others", "results")


def _case(
    symptom: str, family: str, shop: str, age: float, complaint: str, others: str, results: str, *, told: Told
) -> Case:
    case = Case(symptom=symptom, family=family, shop=shop, age_years=None if np.isnan(age) else int(age))
    if told.words:
        case = replace(case, complaint=complaint)
    if told.others:
        pairs = read_results(others)
        present, absent = (tuple(c for c, state in pairs if state == said) for said in ("present", "absent"))
        case = replace(case, also_present=present, also_absent=absent)
    return replace(case, results=tuple(CheckResult(*pair) for pair in read_results(results)[: told.checks]))
