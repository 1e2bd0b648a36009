"""The proof of a fit as a technician reads it."""

import math
from collections.abc import Mapping

from analytics.model_inputs import NO_MODE
from analytics.predictive import Entry, TableCheck
from analytics.vocabulary import Suspect, Term, Vocabulary
from pipelines.proof_files import COUNTS, Proof, Simpler
from pipelines.wording import counted, in_ten

TITLES = {
    "mode_by_age": "Failure modes by age of the machine",
    "shop_by_mode": "Failure modes by workshop",
    "suspect_by_symptom": "Suspects of each symptom",
}
# Below it a table is called off: one good fit in fifty looks like that by chance alone.
OFF = 0.02
SHOWN_ENTRIES = 3
# Differences below four, or below two standard errors, say nothing. Sivula, Magnusson, Matamoros and Vehtari (2020),
# arXiv 2008.10296.
CLEAR_NATS, CLEAR_ERRORS = 4.0, 2.0
_LEAVING_OUT = {
    "age": "No account of age",
    "family": "No account of the kind of machine",
    "shop": "No account of the workshop",
}
_DRAWN = "fitted model"


def say_proof(proof: Proof, vocabulary: Vocabulary) -> str:
    """All findings, one paragraph each."""
    parts = [f"Fit {proof.fit_id}, {counted(proof.ticket_count, 'ticket')}. {proof.diagnostics}", ""]
    parts += ["Would the fitted model have written tickets like yours?", *say_tables(proof, vocabulary)]
    return "\n".join([*parts, "", *say_left_out(proof)])


def say_tables(proof: Proof, vocabulary: Vocabulary) -> list[str]:
    """Counted tickets beside those the fitted model would write; an indented line belongs to the one before."""
    return [line for table in proof.tables for line in _say_table(table, vocabulary)]


def say_left_out(proof: Proof) -> list[str]:
    """How well tickets that were left out are foretold, beside simpler ways; indented lines as in `say_tables`."""
    simpler = (line for one in proof.simpler if one.name != COUNTS for line in _say_simpler(one))
    return [*_say_score(proof), *simpler]


def _say_table(table: TableCheck, vocabulary: Vocabulary) -> list[str]:
    if not table.entry_count:
        return [f"  {TITLES[table.name]}: no ticket tells."]
    chance = 0.01 * table.entry_count
    verdict = "Off" if table.p_value < OFF else "Fits"
    lines = [
        f"  {TITLES[table.name]}: {verdict}. Histories drawn from the {_DRAWN} are further off {in_ten(table.p_value)} "
        f"times; {table.surprising_count} of {table.entry_count} counts are surprising, about {chance:.0f} would be "
        "by chance."
    ]
    return lines + [f"    {_say_entry(table.name, entry, vocabulary)}" for entry in table.worst[:SHOWN_ENTRIES]]


def _say_entry(name: str, entry: Entry, vocabulary: Vocabulary) -> str:
    usual = f"expected about {entry.expected:.0f} (between {entry.low_90:.0f} and {entry.high_90:.0f})"
    return f"{_say_codes(name, entry.codes, vocabulary)}: {entry.observed:.0f} counted, {usual}"


def _say_codes(name: str, codes: tuple[str, str], vocabulary: Vocabulary) -> str:
    first, second = codes
    if name == "mode_by_age":
        return f"{_mode(first, vocabulary)}, {_age(second, vocabulary)}"
    if name == "shop_by_mode":
        return f"{first}, {_mode(second, vocabulary)}"
    return f"{_name(vocabulary.symptoms, first)}: {_name(vocabulary.suspects, second)}"


def _name(terms: Mapping[str, Term | Suspect], code: str) -> str:
    """The name; the code itself where the vocabulary has lost it since."""
    return terms[code].name if code in terms else code


def _mode(code: str, vocabulary: Vocabulary) -> str:
    return "something else" if code == NO_MODE else _name(vocabulary.failure_modes, code)


def _age(code: str, vocabulary: Vocabulary) -> str:
    band = next((band for band in vocabulary.age_bands if band.code == code), None)
    if band is None:
        return code
    last = band.code == vocabulary.age_bands[-1].code
    return f"{band.from_age} years and older" if last else f"{band.from_age} to {band.to_age} years old"


def _say_score(proof: Proof) -> list[str]:
    """How well a ticket is foretold that was left out, beside counting."""
    [counts] = (simpler for simpler in proof.simpler if simpler.name == COUNTS)
    by_counting = proof.mean_log_score + counts.nats / max(1.0, counts.ticket_count)
    lines = [
        "Foretelling the suspect of a ticket that was left out (all tickets in turn): the one written down had been "
        f"given {in_ten(math.exp(proof.mean_log_score))}; counting each symptom by itself gives "
        f"{in_ten(math.exp(by_counting))}. {_verdict(counts, 'Counting')}"
    ]
    if proof.unreliable_share > 0:
        lines.append(f"  For {in_ten(proof.unreliable_share)} tickets this estimate is not to be relied on.")
    return lines


def _say_simpler(simpler: Simpler) -> list[str]:
    name = _LEAVING_OUT[simpler.name]
    lines = [_verdict(simpler, name)]
    if simpler.unreliable_share > 0:
        lines.append(f"  For {in_ten(simpler.unreliable_share)} tickets this estimate is not to be relied on.")
    return lines


def _verdict(simpler: Simpler, name: str) -> str:
    figures = f"({simpler.nats:+.1f} in log score over all, give or take {simpler.standard_error:.1f})"
    clear = abs(simpler.nats) > max(CLEAR_NATS, CLEAR_ERRORS * simpler.standard_error)
    if not clear:
        return f"{name}: no clear difference {figures}."
    return f"{name}: clearly {'worse' if simpler.nats < 0 else 'better'} {figures}."
