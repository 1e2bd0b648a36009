"""Draft checks: a generic look and remedy for each suspect, and the checks that a shop's tickets name."""

from collections.abc import Iterable, Iterator

import pandas as pd

from analytics.vocabulary import SOMETHING_ELSE, Check, Suspect
from pipelines.cell_values import read_distinct, read_minutes
from pipelines.spelling_groups import Group, group_spellings
from pipelines.ticket_lists import explode_checks

# Draft values until the shop's tickets or a person says better. Common practice, no source.
LOOK_MINUTES, LOOK_DETECTION, FALSE_ALARM = 5.0, 0.7, 0.05
REMEDY_MINUTES, REMEDY_CURE = 20.0, 0.85
# Tickets that a draft rate is worth beside the counted ones, and bounds that keep a rate from being a certainty.
DRAFT_WORTH = 4.0
LEAST_RATE, MOST_RATE = 0.05, 0.95
# Every draft check carries these cautions, where the base vocabulary has them, until a person has looked at it.
DRAFT_HAZARDS = ("mains_present", "stored_charge", "moving_mechanism")
INSTRUCTION = (
    "Unplug the machine and make sure it stays unplugged. This check is a draft from the ticket file: have somebody "
    "who knows the machine write what to do, how long it takes and what to beware of. Local codes come first, and "
    "mains parts are for people licensed for it where you are."
)


def generic_checks(suspects: Iterable[Suspect], *, access_group: str, hazards: tuple[str, ...]) -> Iterator[Check]:
    """One inspection and one remedy for each suspect, marked as drafts."""
    for suspect in suspects:
        yield Check(
            code=f"draft_look_{suspect.code}",
            name=f"Draft: look at {suspect.name}",
            kind="inspection",
            minutes=LOOK_MINUTES,
            access_group=access_group,
            hazards=hazards,
            false_alarm=FALSE_ALARM,
            reveals={suspect.code: LOOK_DETECTION},
            cures={},
            instruction=INSTRUCTION,
        )
        yield Check(
            code=f"draft_mend_{suspect.code}",
            name=f"Draft: mend {suspect.name}",
            kind="remedy",
            minutes=REMEDY_MINUTES,
            access_group=access_group,
            hazards=hazards,
            false_alarm=0.0,
            reveals={},
            cures={suspect.code: REMEDY_CURE},
            instruction=INSTRUCTION,
        )


def seen_checks(
    cells: pd.Series, named: pd.DataFrame, *, access_group: str, hazards: tuple[str, ...]
) -> Iterator[Check]:
    """Checks that the tickets name and that told or cured something at least once.

    Parameters
    ----------
    cells : column `checks` of the tickets, index = line
    named : frame, index = line: suspect (confirmed), weight
    """
    made = explode_checks(cells)
    made["line"] = cells.index[made["row"]]
    made["outcome"] = made["outcome"].str.casefold().str.replace(r"[\s_-]+", "_", regex=True)
    groups = group_spellings(made["written"].value_counts().to_dict())
    made["code"] = made["written"].map(dict(groups.code_of))
    made["spent"] = read_distinct(made["minutes"], read_minutes)[0].astype("float64")
    told = made.join(named[named["suspect"] != SOMETHING_ELSE], on="line", how="inner")
    for code, group in groups.groups.items():
        of_check = told[told["code"] == code]
        reveals = _rates(of_check, hit="fault_found", miss="clear", draft=LOOK_DETECTION)
        cures = _rates(of_check, hit="cured", miss="not_cured", draft=REMEDY_CURE)
        if reveals or cures:
            minutes = made["spent"][(made["code"] == code) & (made["spent"] > 0)].median()
            yield _seen_check(group, (reveals, cures), minutes=minutes, access_group=access_group, hazards=hazards)


def _seen_check(
    group: Group,
    rates: tuple[dict[str, float], dict[str, float]],
    *,
    minutes: float,
    access_group: str,
    hazards: tuple[str, ...],
) -> Check:
    reveals, cures = rates
    usual_minutes = REMEDY_MINUTES if cures else LOOK_MINUTES
    return Check(
        code=group.code,
        name=group.name,
        kind="remedy" if cures else "inspection",
        minutes=usual_minutes if pd.isna(minutes) else float(minutes),
        access_group=access_group,
        hazards=hazards,
        false_alarm=0.0 if not reveals else FALSE_ALARM,
        reveals=reveals,
        cures=cures,
        instruction=INSTRUCTION,
        aliases=group.aliases,
    )


def _rates(told: pd.DataFrame, *, hit: str, miss: str, draft: float) -> dict[str, float]:
    """Suspect -> share of hits among hits and misses, drawn towards the draft rate; suspects never hit are left out."""
    hits = told[told["outcome"] == hit].groupby("suspect")["weight"].sum()
    misses = told[told["outcome"] == miss].groupby("suspect")["weight"].sum().reindex(hits.index, fill_value=0.0)
    rates = ((hits + DRAFT_WORTH * draft) / (hits + misses + DRAFT_WORTH)).clip(LEAST_RATE, MOST_RATE)
    return {str(suspect): round(float(rate), 2) for suspect, rate in rates.items()}
