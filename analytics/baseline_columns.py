"""Tickets as columns of numbers, for the classifiers among the baselines: what is known at intake, and the words."""

from typing import Any

import numpy as np
import pandas as pd
from scipy import sparse
from sklearn.decomposition import TruncatedSVD
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.preprocessing import OneHotEncoder, OrdinalEncoder

from analytics.complaint import terms_of

KNOWN = ["symptom", "family", "shop", "age_band"]
# Trees read dense columns, and no more than 255 kinds in one.
TEXT_DIRECTIONS, MOST_KINDS = 40, 250


def one_hot(known: pd.DataFrame, wanted: pd.DataFrame) -> tuple[Any, Any]:
    """One column a kind, (row, kind) of both; a kind that `known` has not met has none."""
    encoder = OneHotEncoder(handle_unknown="ignore").fit(known[KNOWN])
    return encoder.transform(known[KNOWN]), encoder.transform(wanted[KNOWN])


def one_hot_and_words(known: pd.DataFrame, wanted: pd.DataFrame) -> tuple[Any, Any]:
    """The same beside TF-IDF of the words and pairs of words of the complaint."""
    plain, words = one_hot(known, wanted), _words(known, wanted)
    return sparse.hstack([plain[0], words[0]], format="csr"), sparse.hstack([plain[1], words[1]], format="csr")


def ordinal(known: pd.DataFrame, wanted: pd.DataFrame) -> tuple[Any, Any]:
    """Numbers of the kinds, (row, 4) of both; the rarest share one, and one not met is missing."""
    encoder = OrdinalEncoder(max_categories=MOST_KINDS, handle_unknown="use_encoded_value", unknown_value=np.nan)
    encoder.fit(known[KNOWN])
    return encoder.transform(known[KNOWN]), encoder.transform(wanted[KNOWN])


def ordinal_and_words(known: pd.DataFrame, wanted: pd.DataFrame) -> tuple[Any, Any]:
    """The same beside the `TEXT_DIRECTIONS` main directions of the words' TF-IDF."""
    plain, words = ordinal(known, wanted), _words(known, wanted)
    count = min(TEXT_DIRECTIONS, words[0].shape[1] - 1)
    if count < 1:
        return plain
    directions = TruncatedSVD(count, random_state=0).fit(words[0])
    pairs = zip(plain, words, strict=True)
    columns = [np.hstack([categories, directions.transform(rows)]) for categories, rows in pairs]
    return columns[0], columns[1]


def _words(known: pd.DataFrame, wanted: pd.DataFrame) -> tuple[Any, Any]:
    """TF-IDF of words and pairs met in two texts at least; no columns where there are none."""
    met = known["complaint"].map(lambda text: set(terms_of(text))).explode().value_counts()
    terms = sorted(met.index[met >= 2])
    if not terms:
        return sparse.csr_matrix((len(known), 0)), sparse.csr_matrix((len(wanted), 0))
    vectorizer = TfidfVectorizer(analyzer=terms_of, vocabulary=terms, lowercase=False, sublinear_tf=True)
    return vectorizer.fit_transform(known["complaint"]), vectorizer.transform(wanted["complaint"])
