"""A second symptom on the same ticket, present or absent, is evidence about the suspect."""

from collections.abc import Iterable

import numpy as np
import pandas as pd

from analytics.evidence import Evidence
from analytics.vocabulary import Vocabulary

# How often a suspect that is listed for another symptom shows that symptom too, by strength of the link, before any
# ticket was read; and how often a symptom is present that has nothing to do with the suspect. Common practice, no
# source.
PRESENT_BY_STRENGTH = {"often": 0.5, "sometimes": 0.25, "rarely": 0.1, "hardly_ever": 0.04}
PRESENT_BY_CHANCE = 0.03
# Tickets that those are worth beside the counts.
PRIOR_WORTH = 8.0


def companion_rates(evidence: Evidence, vocabulary: Vocabulary) -> np.ndarray:
    """P(another symptom is present | suspect), shape (suspect, symptom): Beta-binomial posterior means."""
    suspects, symptoms = pd.Index(list(vocabulary.suspects)), pd.Index(list(vocabulary.symptoms))
    prior = np.full((len(suspects), len(symptoms)), PRESENT_BY_CHANCE)
    for (symptom, suspect), strength in vocabulary.links.items():
        prior[suspects.get_loc(suspect), symptoms.get_loc(symptom)] = PRESENT_BY_STRENGTH[strength]
    seen = np.zeros((2, *prior.shape))
    rows = evidence.companions
    rows = rows[rows["suspect"].isin(suspects) & rows["symptom"].isin(symptoms)]
    present = (rows["present"] == "present").to_numpy().astype(int)
    at = (present, suspects.get_indexer(rows["suspect"]), symptoms.get_indexer(rows["symptom"]))
    np.add.at(seen, at, rows["count"].to_numpy(dtype=float))
    return (seen[1] + PRIOR_WORTH * prior) / (seen.sum(0) + PRIOR_WORTH)


def companion_likelihood(rates: np.ndarray, others: Iterable[tuple[int, bool]], suspects: np.ndarray) -> np.ndarray:
    """Product over the other symptoms of P(present or absent | suspect), shape (suspect,)."""
    product = np.ones(len(suspects))
    for symptom, is_present in others:
        rate = rates[suspects, symptom]
        product = product * (rate if is_present else 1.0 - rate)
    return product
