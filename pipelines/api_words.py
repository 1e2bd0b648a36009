"""Words of a request -> codes of the vocabulary, by the same matching that reads files."""

from collections.abc import Iterable, Mapping

from analytics.errors import InputError
from pipelines.matching import PhraseBook, match_spellings


def known_code(book: PhraseBook, field: str, written: str) -> str:
    """The code of one word; InputError with the closest names when nothing is called so.

    Parameters
    ----------
    field : family, symptom, suspect or check, for the sentence
    """
    if not written:
        raise InputError(f"A {field} is blank. Name one, or leave it out where it may be left out.")
    match = match_spellings([written], book)[written]
    if not match.code:
        closest = f"Closest: {', '.join(match.closest)}." if match.closest else "The route /api/words lists them."
        raise InputError(f"No {field} is called '{written}'. {closest}")
    return match.code


def codes_of(books: Mapping[str, PhraseBook], field: str, written: Iterable[str]) -> tuple[str, ...]:
    """Codes of several words in their order, each once; InputError as for `known_code`."""
    return tuple(dict.fromkeys(known_code(books[field], field, word) for word in written))
