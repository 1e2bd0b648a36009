"""What joining is worth to a new shop: `python -m benchmarks.club`.

One invented workshop begins with 0, 20 and 100 tickets of its own; the other five wrote bundles. Its later tickets are
scored (log loss, the smaller the better): alone, with the prior pack, with the pack in its own next fit, and with every
raw ticket of the other five, which no club could have. `--shops 21` does the same in a simulated club of twenty, and
`--epsilon 2` with families told with noise.
"""

import json
import tempfile
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import click
import numpy as np
import pandas as pd

from analytics.backtest import Origin, Told, forecast_suspects, places_of_truth, score_tickets
from analytics.evidence import Evidence, add_evidence
from analytics.fit import Effort, fit_evidence
from analytics.live_update import update_posterior
from analytics.posterior import Posterior
from analytics.scenario import make_world
from analytics.scenario_tickets import simulate_tickets
from analytics.scenario_untidy import Pen, write_rows
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.backtests import split_cases
from pipelines.bundle_writing import Wish, write_bundle
from pipelines.catalogue import read_vocabulary
from pipelines.cli_history import ingest_files
from pipelines.fit_question import DEFAULT_SEED
from pipelines.history import read_evidence, read_tickets
from pipelines.invented import demo_files
from pipelines.pack_installing import install_pack
from pipelines.packs import DEFAULT_WORTH, load_pack, write_pack
from pipelines.pool import KINDS_FOR_PACK, read_pool_evidence
from pipelines.prior_sources import read_wishes
from pipelines.settings import Settings, seed_folder

REPORT = Path(__file__).parent / "reports" / "club.json"
NEWCOMER, SIZES = "Lantern Quay", (0, 20, 100)
RAW = "all raw tickets"
# All years have closed, so that bundles and raw tickets hold the same repairs.
TODAY = date(2027, 1, 2)
EFFORT = Effort(tune=300, draws=600, chains=2)
# A simulated club: tickets of a shop on average.
TICKETS_A_SHOP, SEED = 1_000, 20_261_126

type Files = list[tuple[Path, str, Path | None]]


@click.command()
@click.option("--worth", type=int, multiple=True, default=(DEFAULT_WORTH,), help="Tickets a pack counts for.")
@click.option("--threshold", type=int, default=5, help="Fewest tickets in a cell.")
@click.option("--epsilon", type=float, default=0.0, help="Of the noise; 0: none.")
@click.option("--newcomer", default=NEWCOMER, show_default=True, help="Which workshop is the new one.")
@click.option("--shops", type=click.IntRange(min=3), help="Simulate so many workshops, the last one new.")
def main(worth: tuple[int, ...], threshold: int, epsilon: float, newcomer: str, shops: int | None) -> None:
    """Measure, print tables, and write reports/club.json, where each newcomer has its entry."""
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        files = demo_files() if shops is None else write_club(Path(folder), shops)
        newcomer = newcomer if shops is None else files[-1][1]
        wish = Wish(threshold=threshold, epsilon=epsilon)
        rows = list(measure(Path(folder), worth, wish, newcomer, files=files))
    report = json.loads(REPORT.read_text(encoding="utf-8")) if REPORT.exists() else {}
    name = f"{newcomer}, threshold {threshold}, epsilon {epsilon:g}"
    report[name] = {"seconds": round(time.perf_counter() - began), "rows": rows}
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.write_text(json.dumps(report, indent=1), encoding="utf-8")
    losses = pd.DataFrame(rows).pivot_table(index="method", columns="own_tickets", values="log_loss", sort=False)
    click.echo(losses.round(4))
    click.echo("\nPer cent behind all raw tickets:")
    click.echo((100.0 * (losses / losses.loc[RAW] - 1.0)).round(1))


def measure(
    folder: Path, worths: tuple[int, ...], wish: Wish, newcomer: str, *, files: Files
) -> Iterator[dict[str, float | str]]:
    """One row a size and method: own_tickets, method, scored, log_loss, standard_error."""
    club, new = Settings(folder / "club"), Settings(folder / "new")
    ingest_files(club, [entry for entry in files if entry[1] != newcomer])
    ingest_files(new, [entry for entry in files if entry[1] == newcomer])
    vocabulary = read_vocabulary(new.vocabulary_folder)
    opened = np.sort(read_tickets(new.store_path, limit=10**9)["opened_on"].dt.date.to_numpy())
    start = opened[max(SIZES)]
    asked = split_cases(new, vocabulary, Origin(start, date(2027, 1, 1)))[1]
    raw = read_evidence(club.store_path, vocabulary)
    for shop in raw.shops:
        write_bundle(club, folder / "bundle.zip", shop=shop, today=TODAY, wish=wish)
    pooled = _fit(club, vocabulary, read_pool_evidence(club, vocabulary, kinds=KINDS_FOR_PACK))
    packs = {}
    for worth in worths:
        write_pack(club, folder / f"pack{worth}.zip", pooled, worth=worth)
        packs[worth] = _counted_by(Settings(folder / f"worth{worth}"), folder / f"pack{worth}.zip")
    served = load_pack(folder / f"pack{worths[0]}.zip").posterior
    for size in SIZES:
        own = read_evidence(new.store_path, vocabulary, until=opened[size])
        answers = {
            "alone": _fit(new, vocabulary, own),
            "pack, own tickets live": update_posterior(served, own, vocabulary).posterior,
            **{
                f"pack worth {worth}, own fit": _fit(new, vocabulary, add_evidence([own, evidence]))
                for worth, evidence in packs.items()
            },
            RAW: _fit(new, vocabulary, add_evidence([own, raw])),
        }
        for name, posterior in answers.items():
            said = forecast_suspects(posterior, asked, vocabulary, Told())
            truth = places_of_truth(asked, vocabulary.suspects_by_symptom)
            loss = score_tickets(name, said, asked, truth)["log_loss"].to_numpy()
            yield {"own_tickets": size, "method": name, "scored": len(loss), "log_loss": float(loss.mean()),
                   "standard_error": float(loss.std(ddof=1) / np.sqrt(len(loss)))}  # fmt: skip
            click.echo(f"{size} {name}: {loss.mean():.4f}; {posterior.diagnostics.max_rhat:.3f}", err=True)


def write_club(folder: Path, shops: int) -> Files:
    """Ticket files of as many workshops of one simulated world, as `invented.demo_files` lists them."""
    vocabulary, rng = read_vocabulary(seed_folder() / "vocabulary"), np.random.default_rng(SEED)
    names = tuple(f"Harbour {at}" for at in range(1, shops + 1))
    history = simulate_tickets(make_world(vocabulary, names, rng), rng, count=shops * TICKETS_A_SHOP, phrases={})
    files: Files = []
    for at, name in enumerate(names, start=1):
        path = folder / f"harbour_{at}.csv"
        pen = Pen(name, f"H{at}", "%Y-%m-%d", "%Y-%m-%d")
        write_rows(history, vocabulary, rng, pen=pen).to_csv(path, index=False)
        files.append((path, name, None))
    return files


def _counted_by(place: Settings, pack: Path) -> Evidence:
    """The evidence of a pack as a shop that installed it counts it."""
    install_pack(place, pack)
    return read_pool_evidence(place, read_vocabulary(place.vocabulary_folder))


def _fit(place: Settings, vocabulary: Vocabulary, evidence: Evidence) -> Posterior:
    return fit_evidence(
        evidence,
        vocabulary,
        link_prior=read_wishes(place, vocabulary).link_prior,
        priors=Priors(),
        seed=DEFAULT_SEED,
        effort=EFFORT,
    )


if __name__ == "__main__":
    main()
