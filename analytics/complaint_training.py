"""Learning what owners' words mean from the shop's own tickets."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sklearn.feature_extraction.text import TfidfVectorizer
from threadpoolctl import threadpool_limits

from analytics.complaint import TextModel, terms_of
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary
from analytics.word_weights import FOLDS, LearntWords, TextBlock, fit_weights, learn_weights

# Below this a word's company is chance: the words then say which symptom, nothing about suspects.
MIN_TICKETS = 50
# A term in one text only says nothing about the next one.
MIN_TEXTS = 2
MAX_TERMS = 5_000
# A phrase stands in the vocabulary because owners keep saying it: it counts as so many texts.
PHRASE_WORTH = 5
# For the vocabulary's own phrases alone, when there are too few tickets to choose.
UNTRIED_REACH = 2.0


@dataclass(frozen=True, eq=False)
class Complaints:
    """Texts of past tickets, in step; a ticket is in one place only.

    symptoms : code of the main symptom
    suspects : confirmed suspects, () when unresolved; several share the ticket
    log_belief : (suspect of the symptom's list,) log P(suspect | all that was known before the words)
    """

    texts: Sequence[str]
    symptoms: Sequence[str]
    suspects: Sequence[Sequence[str]]
    log_belief: Sequence[np.ndarray]


def train_text_model(complaints: Complaints, vocabulary: Vocabulary) -> TextModel:
    """Two softmax regressions on TF-IDF of words and pairs.

    Symptom: all texts, with the vocabulary's names and other spellings as `PHRASE_WORTH` more each; offset log share.
    Suspect: texts of confirmed tickets, among the symptom's list, weights shared by symptoms; offset `log_belief`, no
    constant: what is learnt is log P(text | suspect) - log P(text), so that belief x likelihood is calibrated.
    Reach and temperature are chosen on texts left out. With fewer than `MIN_TICKETS` confirmed texts the weights of
    suspects are zero.

    Notes
    -----
    Regression with the prior as offset estimates the likelihood ratio: Anderson, Biometrika 59 (1972).
    """
    kept = [at for at, text in enumerate(complaints.texts) if terms_of(text)]
    named = [(code, phrase) for code, term in vocabulary.symptoms.items() for phrase in (term.name, *term.aliases)]
    phrases = PHRASE_WORTH * named
    texts = [complaints.texts[at] for at in kept]
    terms = _choose_terms(texts, [phrase for _, phrase in phrases])
    vectorizer = TfidfVectorizer(analyzer=terms_of, vocabulary=terms, lowercase=False, sublinear_tf=True)
    rows = vectorizer.fit_transform([*texts, *(phrase for _, phrase in phrases)])
    symptoms = [complaints.symptoms[at] for at in kept]
    # thousands of small steps: two threads of the matrix library would spend most of the time on waiting for each other
    with threadpool_limits(1):
        log_share, by_symptom = _learn_symptoms(
            rows, [*symptoms, *(code for code, _ in phrases)], vocabulary, len(texts)
        )
        count, by_suspect = _learn_suspects(rows, complaints, kept, vocabulary)
    return TextModel(
        terms=tuple(terms),
        idf=vectorizer.idf_,
        symptoms=tuple(vocabulary.symptoms),
        symptom_log_share=log_share,
        symptom_weight=by_symptom,
        suspects=tuple(vocabulary.suspects),
        suspect_weight=by_suspect.weight,
        ticket_count=count,
        temperature=by_suspect.temperature,
        gain=by_suspect.gain,
    )


def _choose_terms(texts: Sequence[str], phrases: Sequence[str]) -> list[str]:
    """Terms of at least `MIN_TEXTS` texts, the most frequent first, and all terms of the vocabulary; sorted."""
    counts = Counter(term for text in texts for term in set(terms_of(text)))
    frequent = sorted((term for term, count in counts.items() if count >= MIN_TEXTS), key=lambda t: (-counts[t], t))
    return sorted({*frequent[:MAX_TERMS], *(term for phrase in phrases for term in terms_of(phrase))})


def _learn_symptoms(
    rows: Any, symptoms: Sequence[str], vocabulary: Vocabulary, text_count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Log shares (symptom,) and weights (symptom, term); rows past `text_count` are phrases of the vocabulary."""
    codes = list(vocabulary.symptoms)
    at = np.array([codes.index(symptom) for symptom in symptoms])
    share = np.bincount(at[:text_count], minlength=len(codes)) + 1.0
    log_share = np.log(share / share.sum())
    target = np.eye(len(codes))[at]
    # a phrase of the vocabulary comes up for its own sake, not as often as the symptom does
    offset = np.where(np.arange(len(at))[:, None] < text_count, log_share, 0.0)
    fold = np.where(np.arange(len(at)) < text_count, np.arange(len(at)) % FOLDS, -1)
    block, shape = TextBlock(rows, np.arange(len(codes)), target, offset, fold), (len(codes), rows.shape[1])
    if text_count < MIN_TICKETS:
        return log_share, fit_weights([block], shape, reach=UNTRIED_REACH, start=np.zeros(shape))
    return log_share, learn_weights([block], shape).weight


def _learn_suspects(
    rows: Any, complaints: Complaints, kept: Sequence[int], vocabulary: Vocabulary
) -> tuple[int, LearntWords]:
    """Number of confirmed tickets, and their weights (suspect, term)."""
    told = [(row, at) for row, at in enumerate(kept) if complaints.suspects[at]]
    shape = (len(vocabulary.suspects), rows.shape[1])
    if len(told) < MIN_TICKETS:
        return len(told), LearntWords(np.zeros(shape), 0.0, 0.0)
    by_symptom: dict[str, list[tuple[int, int, int]]] = {}
    for number, (row, at) in enumerate(told):
        by_symptom.setdefault(complaints.symptoms[at], []).append((number, row, at))
    codes = {code: position for position, code in enumerate(vocabulary.suspects)}
    blocks = []
    for symptom, members in by_symptom.items():
        listed = vocabulary.suspects_of(symptom)
        numbers, places, tickets = zip(*members, strict=True)
        blocks.append(
            TextBlock(
                rows=rows[list(places)],
                listed=np.array([codes[code] for code in listed]),
                target=np.array([_shares(complaints.suspects[at], listed) for at in tickets]),
                offset=np.array([complaints.log_belief[at] for at in tickets]),
                fold=np.array(numbers) % FOLDS,
            )
        )
    return len(told), learn_weights(blocks, shape)


def _shares(suspects: Sequence[str], listed: Sequence[str]) -> np.ndarray:
    """(suspect,) n confirmed suspects share one ticket; one that is not listed counts as something else."""
    share = np.zeros(len(listed))
    for suspect in suspects:
        share[listed.index(suspect if suspect in listed else SOMETHING_ELSE)] += 1.0 / len(suspects)
    return share
