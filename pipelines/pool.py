"""The pool as the model and people read it: evidence of all current bundles, and who gave how much."""

import pandas as pd

from analytics.evidence import Evidence, empty_evidence, make_evidence, read_possible
from analytics.vocabulary import Vocabulary
from pipelines.settings import Settings
from pipelines.store import reading, run_query

OWN, RECEIVED, PACK = "own", "received", "pack"
CURRENT, SUPERSEDED, WITHDRAWN = "current", "superseded", "withdrawn"
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
    A count n with noise of variance v weighs n * n / (n + v): Poisson counts of variance n that also carry v tell as
    much as so many without noise. A cell made of m counts carries m v. Tickets without a symptom tell nothing, but
    `ticket_count` counts them.
    """
    with reading(settings.store_path) as con:
        cells = run_query(con, "pool_cells")
    cells = cells[cells["kind"].isin(kinds)]
    if cells.empty:
        return empty_evidence()
    merged = cells["results"].map(lambda text: max(1, len(read_possible(text)))).astype(float)
    noise = cells["noise_variance"] * merged
    cells = cells.assign(shop=cells["contributor"], weight=cells["tickets"] ** 2 / (cells["tickets"] + noise))
    total = round(float(cells["tickets"].sum()))
    known = cells[cells["symptom"].isin(list(vocabulary.symptoms))]
    empty = empty_evidence()
    columns = ["symptom", "family", "shop", "age_band", "suspect", "confirmation", "results", "others", "weight"]
    return make_evidence(
        known[columns],
        check_counts=empty.check_counts,
        check_minutes=empty.check_minutes,
        companions=empty.companions,
        ticket_count=total,
    )


def pool_members(settings: Settings) -> tuple[str, ...]:
    """Codes of contributors and packs that count now, this store's own left out."""
    known = known_bundles(settings)
    return tuple(known.loc[(known["state"] == CURRENT) & (known["kind"] != OWN), "contributor"])
