"""A shop's own ticket file -> draft of a vocabulary: its words and the links it shows, for a person to finish."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from analytics.errors import InputError
from analytics.vocabulary import SOMETHING_ELSE, AgeBand, Term, Vocabulary
from pipelines.cell_values import date_reader, read_distinct, year_reader
from pipelines.column_maps import ColumnMap, find_columns, take_fields
from pipelines.draft_checks import DRAFT_HAZARDS, generic_checks, seen_checks
from pipelines.draft_suspects import draft_suspects
from pipelines.readers import RawTable
from pipelines.spelling_groups import Group, Groups, group_spellings
from pipelines.ticket_lists import count_entries, split_list, symptom_names
from pipelines.ticket_rows import dates_in

# All links that tickets show are equally strong: a strength is what was known before the tickets, and the fit reads the
# same tickets once more. With strengths by share, forecasts of later tickets came out worse.
SEEN_STRENGTH, ELSE_STRENGTH = "sometimes", "rarely"
# A symptom without one confirmed ticket is linked to so many of the commonest suspects.
SUSPECTS_WITHOUT_TICKETS = 8
# Age bands hold about equally many tickets; with fewer tickets of known age the bands of the base stay.
AGE_BAND_COUNT, LEAST_AGES, LAST_AGE_YEARS = 6, 60, 130


def propose_vocabulary(raw: RawTable, *, column_map: ColumnMap, base: Vocabulary) -> Vocabulary:
    """Draft of a vocabulary in the words of a ticket file; `pipelines.catalogue.write_vocabulary` writes it.

    Families, symptoms, suspects and checks are the file's own, rare misspellings their aliases; a symptom is linked to
    the suspects that its tickets ended with, commonest first, all equally strongly. Failure modes and hazards come from
    `base`. Each suspect gets one generic inspection and one remedy, marked as drafts.

    Raises
    ------
    InputError
        When the file names no symptom, or no suspect on any ticket.
    """
    texts = take_fields(raw.frame, find_columns(list(raw.frame.columns), column_map))
    texts = texts.apply(lambda column: column.str.strip())
    symptoms = _group(texts["symptom"], symptom_names)
    drafted = draft_suspects(_group(texts["suspect"], split_list), base)
    if not symptoms.groups or not drafted.suspects:
        raise InputError(
            f"'{raw.name}' names no symptom, or no suspect on any ticket. A draft needs tickets that say what it was."
        )
    named = _name_suspects(texts, symptoms, drafted.code_of)
    outside = next(group for group in base.access_groups.values() if not group.inside)
    hazards = {code: replace(base.hazards[code], aliases=()) for code in DRAFT_HAZARDS if code in base.hazards}
    checks = [
        *generic_checks(drafted.suspects.values(), access_group=outside.code, hazards=tuple(hazards)),
        *seen_checks(texts["checks"], named, access_group=outside.code, hazards=tuple(hazards)),
    ]
    return Vocabulary(
        families=_terms(_group(texts["family"], lambda cell: [cell] if cell else []).groups) or dict(base.families),
        symptoms=_terms(symptoms.groups),
        components=drafted.components,
        failure_modes=drafted.failure_modes,
        suspects={**drafted.suspects, SOMETHING_ELSE: base.suspects[SOMETHING_ELSE]},
        access_groups={outside.code: outside},
        hazards=hazards,
        checks={check.code: check for check in checks},
        links=_links(named, list(symptoms.groups)),
        age_bands=_age_bands(texts) or base.age_bands,
    )


def _group(cells: pd.Series, entries_of: Callable[[str], list[str]]) -> Groups:
    return group_spellings(count_entries(cells, entries_of))


def _terms(groups: Mapping[str, Group]) -> dict[str, Term]:
    return {code: Term(code, group.name, group.aliases) for code, group in groups.items()}


def _name_suspects(texts: pd.DataFrame, symptoms: Groups, suspect_of: Mapping[str, str]) -> pd.DataFrame:
    """One row a ticket and suspect, index = line: symptom (the main one), suspect, weight (1/n of n suspects)."""
    rows = []
    for line, symptom_cell, suspect_cell in zip(texts.index, texts["symptom"], texts["suspect"], strict=True):
        named = list(dict.fromkeys(suspect_of[entry] for entry in split_list(suspect_cell)))
        main = symptom_names(symptom_cell)[:1]
        rows += [(line, symptoms.code_of[main[0]], suspect, 1.0 / len(named)) for suspect in named if main]
    return pd.DataFrame(rows, columns=["line", "symptom", "suspect", "weight"]).set_index("line")


def _links(named: pd.DataFrame, symptoms: list[str]) -> dict[tuple[str, str], str]:
    """The links that tickets show; a symptom without such tickets gets the commonest suspects."""
    links: dict[tuple[str, str], str] = {}
    commonest = (
        named[named["suspect"] != SOMETHING_ELSE].groupby("suspect")["weight"].sum().nlargest(SUSPECTS_WITHOUT_TICKETS)
    )
    for symptom in symptoms:
        weights = named[named["symptom"] == symptom].groupby("suspect")["weight"].sum().sort_values(ascending=False)
        shown = [str(suspect) for suspect in weights.index if suspect != SOMETHING_ELSE] or list(commonest.index)
        links.update({(symptom, suspect): SEEN_STRENGTH for suspect in shown})
        links[symptom, SOMETHING_ELSE] = ELSE_STRENGTH
    return links


def _age_bands(texts: pd.DataFrame) -> tuple[AgeBand, ...]:
    """Bands between quantiles of the ages in the file; none when too few ages are known."""
    built, _ = read_distinct(texts["built_year"], year_reader(date.max))
    opened, _ = read_distinct(texts["opened_on"], date_reader("opened_on", dates_in(texts), date.max))
    ages = [day.year - int(year) for day, year in zip(opened, built, strict=True) if pd.notna(day) and pd.notna(year)]
    ages = [age for age in ages if 0 <= age <= LAST_AGE_YEARS]
    if len(ages) < LEAST_AGES:
        return ()
    inner = np.quantile(ages, np.arange(1, AGE_BAND_COUNT) / AGE_BAND_COUNT).astype(int)
    starts = [0, *(int(age) for age in np.unique(inner) if age > 0)]
    ends = [*(start - 1 for start in starts[1:]), LAST_AGE_YEARS]
    return tuple(AgeBand(f"age_{start}_{end}", start, end) for start, end in zip(starts, ends, strict=True))
