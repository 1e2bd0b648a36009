"""What a ticket calls a family, symptom, suspect or check -> the code of the vocabulary, or nothing when in doubt."""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from analytics.vocabulary import Suspect, Term, Vocabulary

# Likeness 0..100 from which a spelling is taken for a phrase of the vocabulary, and the lead it must have over the
# best phrase of any other code. Chosen on misspelt phrases of the seeded vocabulary: see tests/pipelines/test_matching.
THRESHOLD = 85.0
LEAD = 4.0
# Likeness (0..1, one letter wrong or swapped counts one) from which a word that no phrase has is a phrase's word
# misspelt, and the stricter one for a word that some phrase does have: "contact" is "contacts", "coil" is not "coin".
SAME_WORD, SAME_KNOWN_WORD = 0.66, 0.8
# "short" and "shorted": one word begins with the other, of at least so many letters.
STEM_LETTERS, SAME_STEM = 4, 0.95
# Weight of a word that no phrase knows ("badly", "again"), and of a word of the phrase that was not written.
NOISE_WEIGHT, MISSING_WEIGHT = 0.25, 1.5
# One slip in a whole phrase, blanks not counted: with so many letters it is hardly another word, and counts this much.
SLIP_LETTERS, ONE_SLIP = 6, 92.0
# Phrases looked at closely after a quick look at all of them.
SHORT_LIST = 12
# Spellings compared at once: bounds the memory of the quick look.
BLOCK = 500

_FILLERS = frozenset(
    [
        *(
            "a",
            "an",
            "the",
            "is",
            "was",
            "were",
            "are",
            "be",
            "been",
            "of",
            "to",
            "at",
            "on",
            "in",
            "into",
            "its",
            "it",
        ),
        *("and", "but", "will", "would", "do", "does", "did", "has", "had", "have", "by"),
    ]
)
_NEGATIONS = re.compile(r"\b(?:(?:wo|does|do|did|ca|is|was|would|could)n ?t|wont|cannot|never|no|none|without)\b")


@dataclass(frozen=True)
class PhraseBook:
    """Phrases of one field.

    `exact`: tidied phrase -> code; `phrases` (tidied), `letters` (as written, without blanks) and `codes` in step;
    `words`: all words of the phrases; `names`: code -> name.
    """

    exact: Mapping[str, str]
    phrases: tuple[str, ...]
    letters: tuple[str, ...]
    codes: tuple[str, ...]
    words: frozenset[str]
    names: Mapping[str, str]


@dataclass(frozen=True)
class Match:
    """What one spelling was taken for: a code ("" when in doubt), the likeness 0..100, and the closest names."""

    code: str
    score: float
    closest: tuple[str, ...]


def phrase_books(vocabulary: Vocabulary) -> dict[str, PhraseBook]:
    """Phrase books of the fields family, symptom, suspect and check."""
    checks = {code: Term(code, check.name, check.aliases) for code, check in vocabulary.checks.items()}
    suspects = {code: Term(code, suspect.name, suspect.aliases) for code, suspect in vocabulary.suspects.items()}
    combined = {code: tuple(_item_and_mode(suspect, vocabulary)) for code, suspect in vocabulary.suspects.items()}
    return {
        "family": _phrase_book(vocabulary.families, {}),
        "symptom": _phrase_book(vocabulary.symptoms, {}),
        "suspect": _phrase_book(suspects, combined),
        "check": _phrase_book(checks, {}),
    }


def match_spellings(spellings: Iterable[str], book: PhraseBook) -> dict[str, Match]:
    """Each distinct spelling -> its match: exact first, then by likeness of words; a doubtful one gets no code."""
    matches: dict[str, Match] = {}
    unsure: dict[str, list[str]] = {}
    for spelling in dict.fromkeys(spellings):
        tidied = tidy(spelling)
        if tidied in book.exact:
            matches[spelling] = Match(book.exact[tidied], 100.0, ())
        else:
            unsure.setdefault(_plain(spelling), []).append(spelling)
    waiting = list(unsure)
    for start in range(0, len(waiting), BLOCK):
        block = waiting[start : start + BLOCK]
        for plain, short_list in zip(block, _short_lists(list(map(tidy, block)), book), strict=True):
            matches.update(dict.fromkeys(unsure[plain], _judge(plain, short_list, book)))
    return matches


def tidy(text: str) -> str:
    """Lower case without accents and punctuation, negations made alike, filler words left out, words sorted."""
    plain = _NEGATIONS.sub("not", _plain(text))
    words = [word for word in plain.split() if word not in _FILLERS]
    # A phrase of nothing but fillers keeps them: it may be the whole name.
    return " ".join(sorted(words or plain.split()))


def _plain(text: str) -> str:
    letters = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(sign for sign in letters if not unicodedata.combining(sign)).replace("'", "")
    return " ".join(re.sub(r"[\W_]+", " ", letters).split())


def digits_of(text: str) -> str:
    """The digits of a text: lamp 1 and lamp 2 are much alike and two things."""
    return "".join(sign for sign in text if sign.isdigit())


def is_one_slip(written: str, letters: str, words: frozenset[str]) -> bool:
    """Whether plain text is a phrase with one letter wrong, lost, doubled or swapped, or with other blanks.

    A text of known words only is no slip: "coil" is not a misspelt "coin".
    """
    ours = written.replace(" ", "")
    if ours == letters:
        return True
    has_unknown_word = any(word not in words for word in written.split())
    return len(letters) >= SLIP_LETTERS and has_unknown_word and OSA.distance(ours, letters, score_cutoff=1) <= 1


def likeness(written: str, phrase: str, words: frozenset[str]) -> float:
    """Likeness 0..100 of two tidied texts, word by word.

    A word of `words` that stands in one text only makes them different things ("... short" is not "... open"), however
    alike the letters are; an unknown extra word counts little.
    """
    ours, theirs = written.split(), phrase.split()
    if ("not" in ours) != ("not" in theirs):
        return 0.0
    table = _word_table(ours, theirs, words)
    of_ours, of_theirs = table.max(axis=1), table.max(axis=0)
    if any(score == 0 and word in words for score, word in zip(of_ours, ours, strict=True)):
        return 0.0
    written_share = _share(of_ours, ours, NOISE_WEIGHT)
    phrase_share = _share(of_theirs, theirs, MISSING_WEIGHT)
    if not written_share or not phrase_share:
        return 0.0
    return 200.0 / (1.0 / written_share + 1.0 / phrase_share)


def _word_table(ours: list[str], theirs: list[str], words: frozenset[str]) -> np.ndarray:
    """(our word, their word) likeness 0..1, 0 for different words."""
    table = process.cdist(ours, theirs, scorer=OSA.normalized_similarity, dtype=np.float64)
    bar = np.array([SAME_KNOWN_WORD if word in words else SAME_WORD for word in ours])
    table[table < bar[:, None]] = 0.0
    for at, word in enumerate(ours):
        for to, other in enumerate(theirs):
            if min(len(word), len(other)) >= STEM_LETTERS and (word.startswith(other) or other.startswith(word)):
                table[at, to] = max(table[at, to], SAME_STEM)
    return table


def _share(scores: np.ndarray, words: list[str], lost_weight: float) -> float:
    """Mean score of the words, weighted by their letters; a word without a counterpart weighs differently."""
    weights = [len(word) * (1.0 if score else lost_weight) for word, score in zip(words, scores, strict=True)]
    return float(np.average(scores, weights=weights))


def _phrase_book(terms: Mapping[str, Term], combined: Mapping[str, Sequence[str]]) -> PhraseBook:
    """Names, codes and aliases outrank combined phrases; a combined phrase of two codes belongs to neither."""
    written = {code: (code, term.name, *term.aliases) for code, term in terms.items()}
    owned = [(tidy(phrase), phrase, code) for code, phrases in written.items() for phrase in phrases]
    joint = [(tidy(phrase), phrase, code) for code, phrases in combined.items() for phrase in phrases]
    owners: dict[str, set[str]] = {}
    for tidied, _, code in joint:
        owners.setdefault(tidied, set()).add(code)
    exact: dict[str, str] = {}
    letters: dict[str, str] = {}
    for tidied, phrase, code in [*owned, *(entry for entry in joint if len(owners[entry[0]]) == 1)]:
        if tidied and tidied not in exact:
            exact[tidied] = code
            letters[tidied] = _plain(phrase).replace(" ", "")
    words = frozenset(word for phrase in exact for word in phrase.split())
    names = {code: term.name for code, term in terms.items()}
    return PhraseBook(exact, tuple(exact), tuple(letters.values()), tuple(exact.values()), words, names)


def _item_and_mode(suspect: Suspect, vocabulary: Vocabulary) -> Iterable[str]:
    """Component and failure mode written together, in all their spellings."""
    if not suspect.component:
        return ()
    item, mode = vocabulary.components[suspect.component], vocabulary.failure_modes[suspect.failure_mode]
    pairs = product((item.code, item.name, *item.aliases), (mode.code, mode.name, *mode.aliases))
    return (f"{component} {failure_mode}" for component, failure_mode in pairs)


def _short_lists(tidied: list[str], book: PhraseBook) -> Iterable[np.ndarray]:
    """Positions of the phrases most alike at a quick look, best first."""
    if not book.phrases:
        return [np.array([], dtype=int) for _ in tidied]
    scores = sum(
        process.cdist(tidied, book.phrases, scorer=scorer, dtype=np.float32)
        for scorer in (fuzz.token_set_ratio, fuzz.ratio)
    )
    return np.argsort(-np.asarray(scores), axis=1, kind="stable")[:, :SHORT_LIST]


def _judge(plain: str, short_list: np.ndarray, book: PhraseBook) -> Match:
    closest = tuple(dict.fromkeys(book.names[book.codes[at]] for at in short_list))[:3]
    best: dict[str, float] = {}
    written = tidy(plain)
    for at in short_list if written else ():
        if digits_of(plain) != digits_of(book.letters[at]):
            continue
        score = likeness(written, book.phrases[at], book.words)
        if score < ONE_SLIP and is_one_slip(plain, book.letters[at], book.words):
            score = ONE_SLIP
        best[book.codes[at]] = max(score, best.get(book.codes[at], 0.0))
    ranked = sorted(best.items(), key=lambda item: -item[1])[:2]
    if not ranked or ranked[0][1] < THRESHOLD:
        return Match("", ranked[0][1] if ranked else 0.0, closest)
    if len(ranked) > 1 and ranked[0][1] - ranked[1][1] < LEAD:
        return Match("", ranked[0][1], closest)
    return Match(ranked[0][0], ranked[0][1], closest)
