"""What a bundle tells, in names instead of codes, for whoever is about to send it or has got it."""

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd

from analytics.evidence import read_possible
from analytics.rollup_checks import AT_FAULT
from pipelines.bundle_files import Bundle, Manifest, size_in_words
from pipelines.signatures import signer_in_words
from pipelines.wording import counted

Terms = Mapping[str, Mapping[str, str]]

_OUTCOMES = {
    "fault_found": "it showed",
    "clear": "it seemed clear",
    "cured": "it cured",
    "not_cured": "it did not cure",
}
_SIDES = {"families": "suspects by family", "checks": "outcomes of checks", "minutes": "minutes of checks"}


def about_bundle(bundle: Bundle) -> tuple[str, ...]:
    """What the manifest states, in sentences."""
    told = bundle.manifest
    apart = " (suspects by family apart)" if told.epsilon and told.threshold > 1 else ""
    return (
        f"{counted(told.ticket_count, 'ticket')} of {told.from_year} to {told.to_year}, from contributor "
        f"{told.contributor} (bundle {told.number}).",
        f"Counts: {size_in_words(told)}{apart}; nothing is finer than these years.",
        noise_in_words(told) if told.epsilon else "Noise: none.",
        signer_in_words(bundle.public_key),
        f"Format version {told.schema_version}; checksum {bundle.checksum[:16]}.",
    )


def written_in_words(manifest: Manifest, name: str) -> tuple[str, ...]:
    """What a bundle that was just written under this file name tells others, in sentences."""
    lost = {level: count for level, count in manifest.rolled_up.items() if count and level != "nothing"}
    rolled = "; ".join(f"{level} {count:,}" for level, count in lost.items()) or "nothing"
    exact = {side: what for side, what in _SIDES.items() if not (manifest.epsilon and side == "families")}
    beside = [f"{manifest.sides[side]:,} {what}" for side, what in exact.items() if manifest.sides.get(side)]
    told = (
        f"{name}: {counted(manifest.ticket_count, 'ticket')} of {manifest.from_year} to {manifest.to_year} in "
        f"{counted(manifest.row_count, 'cell')}, {size_in_words(manifest)} (contributor {manifest.contributor}, number "
        f"{manifest.number}).",
        "Left out: ages, and which complaint went with which family." if manifest.threshold == 1
        else f"Rolled up, by what was lost at most: {rolled}.",
        f"Beside them, {size_in_words(manifest)}: {', '.join(beside)}." if beside else "",
        f"{manifest.sides.get('families', 0):,} suspects by family, each with noise." if manifest.epsilon else "",
        noise_in_words(manifest) if manifest.epsilon else "",
    )  # fmt: skip
    return tuple(filter(None, told))


def noise_in_words(manifest: Manifest) -> str:
    """What the noise promises."""
    what = "any such file" if manifest.threshold == 1 else "what it tells by family"
    return (
        f"Noise of epsilon {manifest.epsilon:g}, a standard deviation of {manifest.noise_variance**0.5:.2g} tickets a "
        f"count: one ticket more or less changes the chance of {what} at most {math.exp(manifest.epsilon):.3g} times."
    )


def tables_of(bundle: Bundle) -> tuple[tuple[str, pd.DataFrame], ...]:
    """(heading, table) of all that is counted; a table without rows is left out."""
    counts, terms = bundle.counts, bundle.manifest.terms
    tables = (
        ("Tickets", _cells(counts.cells, terms)),
        ("The same tickets by family", _families(counts.families, terms)),
        ("What checks told", _checks(counts.checks, terms)),
        ("Minutes of checks", _minutes(counts.minutes, terms)),
    )
    return tuple((heading, table) for heading, table in tables if len(table))


def _cells(cells: pd.DataFrame, terms: Terms) -> pd.DataFrame:
    what = [
        _name(terms, "suspect", row.suspect) if row.suspect else _one_of(str(row.results), terms)
        for row in cells.itertuples()
    ]
    table = pd.DataFrame(
        {
            "complaint": [_name(terms, "symptom", code) or "not told" for code in cells["symptom"]],
            "family": [_name(terms, "family", code) or "any" for code in cells["family"]],
            "what it was": what,
            "tickets": cells["tickets"],
        }
    )
    # the same words again and again would crowd out what differs
    return table if (table["family"] != "any").any() else table.drop(columns="family")


def _families(families: pd.DataFrame, terms: Terms) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "of these tickets": [
                _name(terms, "suspect", row.suspect)
                if row.suspect
                else f"{_name(terms, 'symptom', row.symptom)}, others"
                for row in families.itertuples()
            ],
            "family": [
                _name(terms, "family", row.family) if row.family else _one_family(str(row.possible), terms)
                for row in families.itertuples()
            ],
            "tickets": families["tickets"],
        }
    )


def _checks(checks: pd.DataFrame, terms: Terms) -> pd.DataFrame:
    where = ["at what it can tell" if place == AT_FAULT else "elsewhere" for place in checks["place"]]
    return pd.DataFrame(
        {
            "check": [_name(terms, "check", code) for code in checks["check"]],
            "the fault was": where,
            "outcome": [_OUTCOMES[outcome] for outcome in checks["outcome"]],
            "tickets": checks["tickets"],
        }
    )


def _minutes(minutes: pd.DataFrame, terms: Terms) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "check": [_name(terms, "check", code) for code in minutes["check"]],
            "usual minutes": minutes["mean_log"].map(lambda value: f"{np.exp(value):.1f}"),
            "tickets": minutes["tickets"],
        }
    )


def _one_of(results: str, terms: Terms) -> str:
    return _choice([_name(terms, "suspect", code) for code in read_possible(results)]) or "not told"


def _one_family(possible: str, terms: Terms) -> str:
    return _choice([_name(terms, "family", code) for code in possible.split(";") if code]) or "not known"


def _choice(names: list[str]) -> str:
    return f"one of {len(names)}: {', '.join(names[:2])}{' ...' if len(names) > 2 else ''}" if names else ""


def _name(terms: Terms, field: str, code: str) -> str:
    return terms.get(field, {}).get(code, code.replace("_", " "))
