"""The owner's own words as evidence: which symptom they mean, which suspects they speak for, and which words did it."""

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

# "won't" is one word, "l'appareil" is two; single letters and signs say nothing.
_NEGATION = re.compile(r"n['’]t\b", re.IGNORECASE)
_WORD = re.compile(r"[^\W_]{2,}")


@dataclass(frozen=True, eq=False)
class TextModel:
    """What words told in the shop's own tickets, as plain arrays.

    terms, idf : (term,) words and pairs of neighbouring words, and log((1 + texts) / (1 + texts with it)) + 1
    symptom_weight : (symptom, term) log odds; symptom_log_share (symptom,) log share of the tickets
    suspect_weight : (suspect, term) log odds, zero where words are no evidence yet
    ticket_count : tickets with a text and a confirmed suspect
    temperature : factor that is already in `suspect_weight`; 1 means that words were taken at face value, 0 not at all
    gain : nats per ticket by which the words bettered the belief on tickets they were not learnt from
    """

    terms: tuple[str, ...]
    idf: np.ndarray
    symptoms: tuple[str, ...]
    symptom_log_share: np.ndarray
    symptom_weight: np.ndarray
    suspects: tuple[str, ...]
    suspect_weight: np.ndarray
    ticket_count: int
    temperature: float
    gain: float

    @cached_property
    def columns(self) -> dict[str, int]:
        """Term -> column."""
        return {term: at for at, term in enumerate(self.terms)}

    @cached_property
    def rows(self) -> dict[str, int]:
        """Suspect -> row."""
        return {suspect: at for at, suspect in enumerate(self.suspects)}


@dataclass(frozen=True)
class SymptomOdds:
    """One symptom with P(symptom | text) among all tickets."""

    symptom: str
    probability: float


def terms_of(text: str) -> list[str]:
    """Words and pairs of neighbouring words, lower case, without accents; nothing for a text without words.

    Examples
    --------
    >>> terms_of("Dreht über, geht nicht!")
    ['dreht', 'uber', 'geht', 'nicht', 'dreht uber', 'uber geht', 'geht nicht']
    """
    letters = unicodedata.normalize("NFKD", _NEGATION.sub("nt", text)).casefold()
    words = _WORD.findall("".join(sign for sign in letters if not unicodedata.combining(sign)))
    return [*words, *(f"{first} {second}" for first, second in pairwise(words))]


def symptom_odds(model: TextModel, text: str) -> tuple[SymptomOdds, ...]:
    """Symptoms by falling P(symptom | text); a text without known words gives the shares of the tickets."""
    columns, values = _text_row(model, text)
    log_odds = model.symptom_log_share + model.symptom_weight[:, columns] @ values
    odds = np.exp(log_odds - log_odds.max())
    odds /= odds.sum()
    return tuple(SymptomOdds(model.symptoms[at], float(odds[at])) for at in np.argsort(-odds, kind="stable"))


def text_log_likelihood(model: TextModel, text: str, suspects: Sequence[str]) -> np.ndarray:
    """(suspect,) log P(text | suspect) against the geometric mean of the listed suspects, so it sums to zero.

    Multiplied into the belief (a common factor cancels there) it is calibrated: see `complaint_training`.
    """
    return _by_word(model, text, suspects)[1].sum(1)


def words_that_moved(
    model: TextModel, text: str, suspect: str, *, suspects: Sequence[str]
) -> tuple[tuple[str, float], ...]:
    """(word or pair, log odds) for a listed suspect, strongest first; they sum to its `text_log_likelihood`."""
    columns, log_odds = _by_word(model, text, suspects)
    told = log_odds[list(suspects).index(suspect)]
    return tuple(
        (model.terms[columns[at]], float(told[at])) for at in np.argsort(-abs(told), kind="stable") if told[at]
    )


def _by_word(model: TextModel, text: str, suspects: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """Columns of the text's terms, and (suspect, term) log odds; no word speaks for a suspect newer than the model."""
    columns, values = _text_row(model, text)
    weight = np.zeros((len(suspects), len(columns)))
    known = [(at, model.rows[code]) for at, code in enumerate(suspects) if code in model.rows]
    for at, row in known:
        weight[at] = model.suspect_weight[row, columns]
    return columns, (weight - weight.mean(0)) * values


def _text_row(model: TextModel, text: str) -> tuple[np.ndarray, np.ndarray]:
    """Columns and TF-IDF values of the known terms: (1 + log count) x idf, scaled to length one."""
    counts = Counter(model.columns[term] for term in terms_of(text) if term in model.columns)
    columns = np.array(sorted(counts), dtype=int)
    values = (1.0 + np.log([counts[at] for at in columns])) * model.idf[columns]
    return columns, values / np.linalg.norm(values) if len(columns) else values
