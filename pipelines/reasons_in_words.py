"""Why a suspect stands where it stands, in sentences a technician reads at the bench."""

from collections.abc import Callable, Mapping, Sequence

from analytics.reasons import Contribution
from analytics.vocabulary import AgeBand, Vocabulary
from pipelines.wording import change_phrase, counted, in_ten, listed

# Words of the owner that are quoted for, and against.
QUOTED_WORDS = 3

_STRENGTHS = {
    "often": "often points to it",
    "sometimes": "sometimes points to it",
    "rarely": "rarely points to it",
    "hardly_ever": "hardly ever points to it",
}
_OUTCOMES = {
    "fault_found": "found a fault",
    "clear": "found nothing",
    "inconclusive": "could not tell",
    "cured": "cured it",
    "not_cured": "did not cure it",
}


def say_reasons(
    contributions: Sequence[Contribution], vocabulary: Vocabulary, *, symptom: str, suspect: str
) -> tuple[str, ...]:
    """One sentence a contribution, in their order: what is known, and from which share to which it moved the odds."""
    return tuple(_SENTENCES[told.source](told, vocabulary, symptom, suspect) for told in contributions)


def _say_list(told: Contribution, vocabulary: Vocabulary, symptom: str, _suspect: str) -> str:
    count = counted(len(vocabulary.suspects_of(symptom)), "suspect")
    name = vocabulary.symptoms[symptom].name
    return f"The list of '{name}' has {count}: with nothing else known, each would be {in_ten(told.after)}."


def _say_seeded(told: Contribution, vocabulary: Vocabulary, symptom: str, suspect: str) -> str:
    strength = _STRENGTHS[vocabulary.links.get((symptom, suspect), "rarely")]
    return _moved(f"The list says that this symptom {strength}", told)


def _say_tickets(told: Contribution, _vocabulary: Vocabulary, _symptom: str, _suspect: str) -> str:
    return _moved(f"All tickets so far made it {_more(told, 'more', 'less')} likely than the list says", told)


def _say_shop(told: Contribution, vocabulary: Vocabulary, _symptom: str, suspect: str) -> str:
    # the model knows a shop by its failure modes
    mode = vocabulary.suspects[suspect].failure_mode
    what = f"'{vocabulary.failure_modes[mode].name}'" if mode else "something else"
    return _moved(f"This shop meets {what} {_more(told, 'more', 'less')} often than others", told)


def _say_family(told: Contribution, vocabulary: Vocabulary, _symptom: str, _suspect: str) -> str:
    family = vocabulary.families[told.code].name if told.code in vocabulary.families else told.code
    return _moved(f"Machines of the kind '{family}' have this {_more(told, 'more', 'less')} often", told)


def _say_age(told: Contribution, vocabulary: Vocabulary, _symptom: str, _suspect: str) -> str:
    years = _years(told.code, vocabulary.age_bands)
    return _moved(f"Machines {years} have this {_more(told, 'more', 'less')} often", told)


def _say_last_repair(told: Contribution, vocabulary: Vocabulary, _symptom: str, suspect: str) -> str:
    if told.code == suspect:
        return _moved("The same complaint came back after it was repaired: it is often the same again", told)
    last = vocabulary.suspects[told.code].name if told.code in vocabulary.suspects else told.code
    return _moved(f"The same complaint came back after '{last}' was repaired: often it is that again", told)


def _say_present(told: Contribution, vocabulary: Vocabulary, _symptom: str, _suspect: str) -> str:
    return _moved(f"'{vocabulary.symptoms[told.code].name}' as well speaks {_more(told, 'for', 'against')} it", told)


def _say_absent(told: Contribution, vocabulary: Vocabulary, _symptom: str, _suspect: str) -> str:
    return _moved(f"No '{vocabulary.symptoms[told.code].name}' speaks {_more(told, 'for', 'against')} it", told)


def _say_complaint(told: Contribution, _vocabulary: Vocabulary, _symptom: str, _suspect: str) -> str:
    pro = _quote([word for word, log_odds in told.words if log_odds > 0])
    contra = _quote([word for word, log_odds in told.words if log_odds < 0])
    parts = [f"{words} {side} it" for words, side in ((pro, "for"), (contra, "against")) if words]
    # what carried the day comes first
    return _moved(f"In the owner's words, {listed(parts[:: 1 if told.log_odds > 0 else -1])}", told)


def _quote(phrases: Sequence[str]) -> str:
    """The strongest, strongest first; of "cuts", "cuts out" and "out" only one is quoted."""
    quoted: list[str] = []
    for phrase in phrases:
        if not any(set(phrase.split()) & set(other.split()) for other in quoted):
            quoted.append(phrase)
    return listed([f"'{phrase}'" for phrase in quoted[:QUOTED_WORDS]])


def _say_check(told: Contribution, vocabulary: Vocabulary, _symptom: str, _suspect: str) -> str:
    return _moved(f"'{vocabulary.checks[told.code].name}' {_OUTCOMES[told.outcome]}", told)


_SENTENCES: Mapping[str, Callable[[Contribution, Vocabulary, str, str], str]] = {
    "list": _say_list,
    "seeded": _say_seeded,
    "tickets": _say_tickets,
    "shop": _say_shop,
    "family": _say_family,
    "age": _say_age,
    "last_repair": _say_last_repair,
    "present": _say_present,
    "absent": _say_absent,
    "complaint": _say_complaint,
    "check": _say_check,
}


def _moved(what: str, told: Contribution) -> str:
    return f"{what}: {change_phrase(told.before, told.after)}."


def _more(told: Contribution, up: str, down: str) -> str:
    return up if told.log_odds > 0 else down


def _years(code: str, bands: Sequence[AgeBand]) -> str:
    """The last band is open upwards."""
    band = next(band for band in bands if band.code == code)
    if band is bands[-1]:
        return f"of {band.from_age} years and more"
    return f"of {band.from_age} to {band.to_age} years" if band.from_age else f"of up to {band.to_age} years"
