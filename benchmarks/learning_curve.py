"""How much history it takes: `python -m benchmarks.learning_curve`.

Fits of the first 50 to 3,000 tickets of the demo, scored on the demo's last fifth, beside four simpler methods and the
true odds behind the demo, which nobody can beat for long. No method is told the owner's words.
"""

import json
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

import click
import numpy as np
import pandas as pd

from analytics.backtest import Origin, Told, forecast_suspects, places_of_truth, score_tickets
from analytics.baselines import (
    forecast_by_boosting,
    forecast_by_group,
    forecast_by_regression,
    forecast_by_symptom,
    listed_suspects,
)
from analytics.fit import fit_evidence
from analytics.model_inputs import ModelInputs
from analytics.priors import LinkPrior, link_prior
from analytics.scenario import World, suspect_probabilities
from analytics.scenario_truth import world_from_truth
from analytics.terms import Priors
from analytics.vocabulary import UNKNOWN_AGE, Vocabulary
from benchmarks.learning_curve_figure import draw_figure
from pipelines.backtests import FOLD_EFFORT, split_cases
from pipelines.catalogue import read_vocabulary
from pipelines.cli_history import ingest_files
from pipelines.fit_question import DEFAULT_SEED
from pipelines.history import read_evidence, read_tickets
from pipelines.invented import demo_files
from pipelines.rules import read_handbook
from pipelines.settings import Settings, seed_folder

REPORTS = Path(__file__).parent / "reports"
SIZES = (50, 100, 300, 1000, 3000)
SCORED_SHARE = 0.2
MODEL, FLAT, TRUTH = "this model", "this model, list without strengths", "true odds"


@click.command()
def main() -> None:
    """Measure, print a table, write reports/learning_curve.json and .svg."""
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        place = Settings(Path(folder))
        ingest_files(place, demo_files())
        rows = list(measure(place))
    table = pd.DataFrame(rows)
    report = {"seconds": round(time.perf_counter() - began), "rows": rows}
    REPORTS.mkdir(exist_ok=True)
    (REPORTS / "learning_curve.json").write_text(json.dumps(report, indent=1), encoding="utf-8")
    (REPORTS / "learning_curve.svg").write_text(draw_figure(table), encoding="utf-8")
    click.echo(table.pivot_table(index="tickets", columns="method", values="log_loss", sort=False).round(3).to_string())


def measure(place: Settings) -> Iterator[dict[str, float | str]]:
    """One row a size and method: tickets learnt from, method, scored, log_loss, standard_error, behind, behind_se."""
    vocabulary = read_vocabulary(place.vocabulary_folder)
    opened = np.sort(read_tickets(place.store_path, limit=10**9)["opened_on"].dt.date.to_numpy())
    first_scored, end = opened[int((1 - SCORED_SHARE) * len(opened))], date(opened[-1].year + 1, 1, 1)
    world = world_from_truth(json.loads((seed_folder() / "demo" / "truth.json").read_text("utf-8")), vocabulary)
    for size in SIZES:
        until = opened[size]
        learnt = split_cases(place, vocabulary, Origin(until, end))[0]
        asked = split_cases(place, vocabulary, Origin(first_scored, end))[1]
        truth = places_of_truth(asked, vocabulary.suspects_by_symptom)
        said = {**_model(place, vocabulary, until, asked), **_baselines(learnt, asked, vocabulary)}
        said[TRUTH] = _true_odds(world, asked)
        losses = {name: score_tickets(name, p, asked, truth)["log_loss"].to_numpy() for name, p in said.items()}
        for name, loss in losses.items():
            gap = loss - losses[MODEL]
            yield {
                "tickets": size,
                "method": name,
                "scored": len(loss),
                "log_loss": float(loss.mean()),
                "standard_error": float(loss.std(ddof=1) / np.sqrt(len(loss))),
                "behind": float(gap.mean()),
                "behind_se": float(gap.std(ddof=1) / np.sqrt(len(gap))),
            }
        click.echo(f"{size:,}: {losses[MODEL].mean():.3f}", err=True)


def _model(place: Settings, vocabulary: Vocabulary, until: date, asked: pd.DataFrame) -> dict[str, np.ndarray]:
    """The model with the seeded strengths, and with all links alike."""
    alike = replace(vocabulary, links=dict.fromkeys(vocabulary.links, "rarely"))
    said = {}
    for name, words in ((MODEL, vocabulary), (FLAT, alike)):
        ratios = read_handbook(words) if name == MODEL else ()
        posterior = fit_evidence(
            read_evidence(place.store_path, words, until=until),
            words,
            link_prior=partial(_prior, words, ratios),
            priors=Priors(),
            seed=DEFAULT_SEED,
            effort=FOLD_EFFORT,
        )
        said[name] = forecast_suspects(posterior, asked, words, Told())
    return said


def _prior(words: Vocabulary, ratios: Sequence[tuple[str, str, float]], inputs: ModelInputs) -> LinkPrior:
    return link_prior(words, inputs.links, ratios=ratios)


def _baselines(learnt: pd.DataFrame, asked: pd.DataFrame, vocabulary: Vocabulary) -> dict[str, np.ndarray]:
    listed = listed_suspects(vocabulary.suspects_by_symptom)
    return {
        "counts by symptom": forecast_by_symptom(learnt, asked, listed),
        "counts by symptom and shop": forecast_by_group(learnt, asked, listed, column="shop"),
        "logistic regression": forecast_by_regression(learnt, asked, listed),
        "boosted trees": forecast_by_boosting(learnt, asked, listed),
    }


def _true_odds(world: World, asked: pd.DataFrame) -> np.ndarray:
    """(row, place): the odds behind the demo; without a year (or family) the even mean over all ages (or families)."""
    width = max(len(codes) for codes in world.vocabulary.suspects_by_symptom.values())
    ages = [band.code for band in world.vocabulary.age_bands]
    out = np.zeros((len(asked), width))
    for at, row in enumerate(asked.itertuples(index=False)):
        families = [row.family] if row.family else list(world.vocabulary.families)
        bands = ages if row.age_band == UNKNOWN_AGE else [row.age_band]
        odds = [
            suspect_probabilities(world, row.symptom, family=family, shop=row.shop, age_band=band)
            for family in families
            for band in bands
        ]
        out[at, : len(odds[0])] = np.mean(odds, axis=0)
    return out


if __name__ == "__main__":
    main()
