"""What each loss on the way into a pack costs a new shop: `python -m benchmarks.club_losses`.

The newcomer has no tickets of its own and the other five workshops are pooled. Of every raw ticket one thing at a time
is forgotten; then what the bundles tell is used as it stands, and unrolled. The difference of two fits of one world
that only differ by their seed is about 0.005.
"""

import json
import tempfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import click
import pandas as pd

from analytics.backtest import Origin, Told, forecast_suspects, places_of_truth, score_tickets
from analytics.evidence import CELL_COLUMNS, Evidence, empty_evidence, make_evidence
from analytics.fit import Effort, fit_evidence
from analytics.rollup import roll_up
from analytics.rollup_cells import MIXED_GRADE
from analytics.terms import Priors
from analytics.unrolling import Contribution, unroll
from analytics.vocabulary import Vocabulary
from benchmarks.club import NEWCOMER, REPORT, SIZES
from pipelines.backtests import split_cases
from pipelines.catalogue import read_vocabulary
from pipelines.cli_history import ingest_files
from pipelines.fit_question import DEFAULT_SEED
from pipelines.history import age_band_frame, read_evidence, read_tickets
from pipelines.invented import demo_files
from pipelines.prior_sources import read_wishes
from pipelines.settings import Settings
from pipelines.store import reading, registered, run_query

THRESHOLD = 5
EFFORT = Effort(tune=300, draws=500, chains=2)


@click.command()
@click.option("--newcomer", default=NEWCOMER, show_default=True, help="Which workshop is the new one.")
def main(newcomer: str) -> None:
    """Measure, print a table, and put it into reports/club.json."""
    with tempfile.TemporaryDirectory() as folder:
        club, new = Settings(Path(folder) / "club"), Settings(Path(folder) / "new")
        ingest_files(club, [entry for entry in demo_files() if entry[1] != newcomer])
        ingest_files(new, [entry for entry in demo_files() if entry[1] == newcomer])
        vocabulary = read_vocabulary(new.vocabulary_folder)
        losses = {}
        for name, evidence in variants(club, vocabulary):
            losses[name] = _score(new, vocabulary, evidence)
            click.echo(f"{name}: {losses[name]:.4f}", err=True)
    report = json.loads(REPORT.read_text(encoding="utf-8")) if REPORT.exists() else {}
    report[f"{newcomer}, what each loss costs"] = losses
    REPORT.write_text(json.dumps(report, indent=1), encoding="utf-8")


def variants(club: Settings, vocabulary: Vocabulary) -> Iterator[tuple[str, Evidence]]:
    """(what is lost, the evidence that is left)."""
    raw = read_evidence(club.store_path, vocabulary)
    cells, none = raw.cells, empty_evidence()
    named = cells["suspect"] != ""
    mixed = cells.assign(confirmation=cells["confirmation"].where(~named, MIXED_GRADE))
    yield "nothing", raw
    yield "who the shop was", _with(raw, cells.assign(shop="one"))
    yield "the age", _with(raw, cells.assign(age_band="unknown"))
    yield "the family", _with(raw, cells.assign(family=""))
    yield "how sure it was", _with(raw, mixed)
    yield "unresolved tickets", _with(raw, cells[named])
    yield "outcomes of checks and other complaints", make_evidence(
        cells, check_counts=none.check_counts, check_minutes=raw.check_minutes, companions=none.companions,
        ticket_count=raw.ticket_count,
    )  # fmt: skip
    yield "how complaint and family go together, but for each suspect", _with(raw, _independent(mixed[named]))
    told = tuple(_bundles(club, vocabulary, raw.shops))
    plain = pd.concat([part.cells.assign(shop=part.code, weight=part.cells["tickets"]) for part in told])
    yield "all that bundles hide, used as it stands", _with(none, plain[plain["symptom"] != ""][list(CELL_COLUMNS)])
    yield "all that bundles hide, unrolled", _with(none, unroll(told, vocabulary))


def _independent(cells: pd.DataFrame) -> pd.DataFrame:
    """Complaint and family of a shop's suspect as if they had nothing to do with each other; no ages."""
    own = cells.assign(age_band="unknown")
    keys = ["shop", "suspect"]
    families = own.groupby([*keys, "family"], as_index=False)["weight"].sum()
    total = families.groupby(keys)["weight"].transform("sum")
    joined = own.drop(columns="family").merge(families.assign(share=families["weight"] / total), on=keys,
                                              suffixes=("", "_of_family"))  # fmt: skip
    return joined.assign(weight=joined["weight"] * joined["share"])[list(CELL_COLUMNS)]


def _bundles(club: Settings, vocabulary: Vocabulary, shops: tuple[str, ...]) -> Iterator[Contribution]:
    for shop in shops:
        with reading(club.store_path) as con, registered(con, age_bands=age_band_frame(vocabulary)):
            tickets = run_query(con, "count_bundle_cells", shop=shop, from_year=1, to_year=9999, after_order=None)
        rolled = roll_up(tickets, vocabulary, threshold=THRESHOLD)
        yield Contribution(shop, rolled.cells, rolled.families, THRESHOLD - 1)


def _with(evidence: Evidence, cells: pd.DataFrame) -> Evidence:
    return make_evidence(
        cells, check_counts=evidence.check_counts, check_minutes=evidence.check_minutes,
        companions=evidence.companions, ticket_count=round(float(cells["weight"].sum())),
    )  # fmt: skip


def _score(new: Settings, vocabulary: Vocabulary, evidence: Evidence) -> float:
    """Mean log loss of the newcomer's tickets, the same ones as in `benchmarks.club`."""
    opened = read_tickets(new.store_path, limit=10**9)["opened_on"].dt.date.sort_values().to_list()
    asked = split_cases(new, vocabulary, Origin(opened[max(SIZES)], date(2027, 1, 1)))[1]
    posterior = fit_evidence(
        evidence,
        vocabulary,
        link_prior=read_wishes(new, vocabulary).link_prior,
        priors=Priors(),
        seed=DEFAULT_SEED,
        effort=EFFORT,
    )
    said = forecast_suspects(posterior, asked, vocabulary, Told())
    truth = places_of_truth(asked, vocabulary.suspects_by_symptom)
    return float(score_tickets("x", said, asked, truth)["log_loss"].mean())


if __name__ == "__main__":
    main()
