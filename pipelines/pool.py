"""The pool as the model and people read it: evidence of all current bundles, and who gave how much."""

import pandas as pd

from analytics.evidence import CELL_COLUMNS, Evidence, empty_evidence, make_evidence
from analytics.rollup_checks import minutes_sums
from analytics.unrolling_checks import outcome_counts
from analytics.vocabulary import Vocabulary
from pipelines.pool_counts import CURRENT, OWN, PACK, RECEIVED, read_counts, unroll_counts
from pipelines.settings import Settings
from pipelines.store import reading, run_query

SUPERSEDED, WITHDRAWN = "superseded", "withdrawn"
# A workshop's own tickets count as they are; its own bundle would count them twice.
KINDS_FOR_FIT, KINDS_FOR_PACK = (RECEIVED, PACK), (OWN, RECEIVED)


def known_bundles(settings: Settings) -> pd.DataFrame:
    """All bundles and packs ever stored; columns as in `sql/bundles_known.sql`."""
    with reading(settings.store_path) as con:
        return run_query(con, "bundles_known")


def read_pool_evidence(
    settings: Settings, vocabulary: Vocabulary, *, kinds: tuple[str, ...] = KINDS_FOR_FIT
) -> Evidence:
    """Evidence of the current bundles and packs; each contributor is a shop named by its code.

    Notes
    -----
    What bundles had to hide, by rolling up or by noise, is estimated from all of them together
    (`pool_counts.unroll_counts`). Tickets without a symptom tell nothing, but `ticket_count` counts them.
    """
    told = read_counts(settings, kinds)
    if not told:
        return empty_evidence()
    counts = unroll_counts(told, vocabulary)
    cells = counts.cells[counts.cells["symptom"].isin(list(vocabulary.symptoms))]
    named = cells[cells["suspect"] != ""].groupby("suspect")["weight"].sum()
    empty = empty_evidence()
    return make_evidence(
        cells[list(CELL_COLUMNS)],
        check_counts=outcome_counts(counts.checks, named.to_dict(), vocabulary),
        check_minutes=minutes_sums(counts.minutes),
        companions=empty.companions,
        ticket_count=round(sum(float(one.counts.cells["tickets"].sum()) for one in told)),
    )


def pool_members(settings: Settings) -> tuple[str, ...]:
    """Codes of contributors and packs that count now, this store's own left out."""
    known = known_bundles(settings)
    return tuple(known.loc[(known["state"] == CURRENT) & (known["kind"] != OWN), "contributor"])
