"""Which part mends which suspect, and how often each part should be needed: arrivals x belief x remedy."""

from collections.abc import Mapping

import pandas as pd

from analytics.advice import mean_rates
from analytics.case import Case
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import Check, Vocabulary


def parts_of(vocabulary: Vocabulary) -> tuple[str, ...]:
    """Parts that some check of the vocabulary fits to cure a machine, in the order of the checks."""
    return tuple(dict.fromkeys(check.part for check in vocabulary.checks.values() if check.part and check.is_remedy))


def main_remedies(vocabulary: Vocabulary) -> dict[str, Check]:
    """Suspect -> the remedy that cures it most often as the vocabulary says; of several the quickest."""
    best: dict[str, Check] = {}
    for check in vocabulary.checks.values():
        for suspect in check.cures:
            rival = best.get(suspect)
            if rival is None or _worth(check, suspect) > _worth(rival, suspect):
                best[suspect] = check
    return best


def part_of_suspects(vocabulary: Vocabulary) -> dict[str, str]:
    """Suspect -> the part its main remedy needs, for suspects whose main remedy needs one."""
    return {suspect: check.part for suspect, check in main_remedies(vocabulary).items() if check.part}


def parts_in_components(vocabulary: Vocabulary) -> dict[str, tuple[str, ...]]:
    """Component -> the parts that can be taken out of one, for components that hold any."""
    found: dict[str, dict[str, None]] = {}
    for suspect, part in part_of_suspects(vocabulary).items():
        found.setdefault(vocabulary.suspects[suspect].component, {})[part] = None
    return {component: tuple(parts) for component, parts in found.items()}


def expected_uses(
    posterior: Posterior, arrivals: pd.DataFrame, vocabulary: Vocabulary, *, years: float
) -> Mapping[str, float]:
    """Part -> uses a year that arrivals and belief lead to expect, before any use of the part is counted.

    Parameters
    ----------
    arrivals : frame with symptom, family ("" when not known), tickets over `years`

    Returns
    -------
    For each part of `parts_of`: the sum over symptoms and kinds of machine of arrivals a year x P(suspect) x P(its main
    remedy cures it), over the suspects whose main remedy needs the part.
    """
    remedies, rates = main_remedies(vocabulary), mean_rates(posterior)
    checks, suspects = list(vocabulary.checks), list(vocabulary.suspects)
    expected = dict.fromkeys(parts_of(vocabulary), 0.0)
    for symptom, family, tickets in zip(arrivals["symptom"], arrivals["family"], arrivals["tickets"], strict=True):
        if symptom not in posterior.positions["symptom"] or symptom not in vocabulary.symptoms:
            continue
        found = belief(posterior, Case(symptom, family=family), vocabulary)
        for suspect, share in zip(found.suspects, found.mean, strict=True):
            check = remedies.get(suspect)
            if check is not None and check.part:
                cure = rates.cured[checks.index(check.code), suspects.index(suspect)]
                expected[check.part] += float(tickets / years * share * cure)
    return expected


def _worth(check: Check, suspect: str) -> tuple[float, float]:
    return check.cures[suspect], -check.minutes
