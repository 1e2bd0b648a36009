"""How well tickets count before the next fit: `python -m benchmarks.live_update --worlds 4`.

Each simulated world is fitted to 500 tickets; 20 and 100 more are then added by `update_posterior` and, to compare, by
fitting again with two other seeds. Error: mean absolute difference of suspect probabilities over cases as they come in.
The yardstick is how far the two refits of the same tickets lie from each other. Written to benchmarks/reports.
"""

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter, thread_time

import click
import numpy as np
import pandas as pd

from analytics.case import Case
from analytics.evidence import Evidence
from analytics.fit import Effort, fit_evidence
from analytics.live_tickets import NOT_GIVEN, sort_tickets
from analytics.live_transform import effective_share
from analytics.live_update import update_posterior
from analytics.posterior import Posterior
from analytics.priors import link_prior
from analytics.scenario import World, make_world
from analytics.scenario_arrivals import simulate_cells
from analytics.scenario_tickets import History
from analytics.suspects import belief, prior_belief, rank_suspects
from analytics.terms import Priors
from analytics.vocabulary import UNKNOWN_AGE, Vocabulary
from benchmarks.live_report import ALLOWED, Row, summarise, table, write_reports
from benchmarks.live_world import count_evidence, simulate_history
from pipelines.catalogue import read_vocabulary
from pipelines.posteriors import read_posterior, write_posterior
from pipelines.settings import seed_folder

SHOPS = ("Pier", "Sands", "Row", "Quay", "Spit", "Point")
FITTED, CASES = 500, 400
EFFORT = Effort(tune=300, draws=500)


@click.command()
@click.option("--worlds", default=4, show_default=True, help="Simulated worlds; each takes five fits.")
def main(worlds: int) -> None:
    """Measure, print a table, write reports/live_update.json and reports/live_update.md."""
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    rows: list[Row] = []
    times: list[tuple[float, float]] = []
    for seed in range(worlds):
        rng = np.random.default_rng(seed)
        world = make_world(vocabulary, SHOPS, rng)
        history = simulate_history(world, rng, count=FITTED + max(ALLOWED))
        fitted = _fit(world, history, FITTED, seed=100 + seed)
        rows += [_compare(world, history, fitted, new, seed=seed) for new in ALLOWED]
        times += _time_single_tickets(world, history, fitted)
        click.echo(table(rows[-len(ALLOWED) :]))
    heading = f"`python -m benchmarks.live_update --worlds {worlds}`: {FITTED} fitted tickets a world, {CASES} cases."
    click.echo(write_reports(heading, summarise(rows, np.array(times))))


def _fit(world: World, history: History, count: int, *, seed: int) -> Posterior:
    """As it is served: through the file, whose draws have single precision."""
    fitted = fit_evidence(
        count_evidence(world, history, 0, count),
        world.vocabulary,
        link_prior=lambda inputs: link_prior(world.vocabulary, inputs.links),
        priors=Priors(),
        seed=seed,
        effort=EFFORT,
    )
    with TemporaryDirectory() as folder:
        path = Path(folder) / "fit.nc"
        write_posterior(fitted, path)
        return read_posterior(path)


def _compare(world: World, history: History, fitted: Posterior, new: int, *, seed: int) -> Row:
    vocabulary, cases = world.vocabulary, _cases(world)
    evidence = count_evidence(world, history, FITTED, FITTED + new)
    refits = [_fit(world, history, FITTED + new, seed=offset + seed) for offset in (200, 300)]
    update = update_posterior(fitted, evidence, vocabulary)
    weight = _likelihood_weights(fitted, evidence, vocabulary)
    even = np.full(fitted.draw_count, 1.0 / fitted.draw_count)
    first, second = (_answers(refit, cases, vocabulary, _mean(even)) for refit in refits)

    def error(posterior: Posterior, weights: np.ndarray) -> float:
        found = _answers(posterior, cases, vocabulary, _mean(weights))
        return 50.0 * float(np.abs(found - first).mean() + np.abs(found - second).mean())

    def width(posterior: Posterior) -> float:
        return 100.0 * float(_answers(posterior, cases, vocabulary, _width).mean())

    return Row(
        world=seed,
        new=new,
        refits=100.0 * float(np.abs(first - second).mean()),
        untouched=error(fitted, even),
        reweighted=error(fitted, weight),
        updated=error(update.posterior, even),
        width_before=width(fitted),
        width_updated=width(update.posterior),
        width_refit=float(np.mean([width(refit) for refit in refits])),
        effective_share=update.effective_share,
        reweighted_share=effective_share(np.log(np.maximum(weight, 1e-300))),
        is_spent=update.is_spent,
    )


def _cases(world: World) -> list[Case]:
    """Cases as they come in, the same for every posterior of a world."""
    cells: pd.DataFrame = simulate_cells(world, np.random.default_rng(99), count=CASES)
    years = {band.code: band.from_age for band in world.vocabulary.age_bands}
    columns = (cells[name] for name in ("symptom", "family", "shop", "age_band"))
    return [Case(symptom, family, shop, years[band]) for symptom, family, shop, band in zip(*columns, strict=True)]


def _answers(
    posterior: Posterior, cases: list[Case], vocabulary: Vocabulary, read: Callable[[np.ndarray], np.ndarray]
) -> np.ndarray:
    return np.concatenate([read(prior_belief(posterior, case, vocabulary)) for case in cases])


def _mean(weight: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    return lambda chance: weight @ chance


def _width(chance: np.ndarray) -> np.ndarray:
    low, high = np.quantile(chance, (0.05, 0.95), axis=0)
    return high - low


def _likelihood_weights(posterior: Posterior, evidence: Evidence, vocabulary: Vocabulary) -> np.ndarray:
    """The rival: fitted draws left where they are, weighted by the likelihood of the new tickets."""
    bands = {band.code: band.from_age for band in vocabulary.age_bands} | {UNKNOWN_AGE: None}
    names = {dim: list(codes) for dim, codes in posterior.positions.items()}
    total = np.zeros(posterior.draw_count)
    for context in sort_tickets(posterior, evidence)[0]:
        band = UNKNOWN_AGE if context.age == NOT_GIVEN else names["age"][context.age]
        places = (names["symptom"][context.symptom], names["family"][context.family], names["shop"][context.shop])
        chance = prior_belief(posterior, Case(*places, bands[band]), vocabulary)
        for seen in context.sightings:
            rate = posterior.arrays["misread"][:, seen.grade, context.shop] if seen.grade != NOT_GIVEN else 0.0
            total += seen.weight * np.log(chance @ seen.likelihood * (1.0 - rate) + rate / chance.shape[1])
    weight = np.exp(total - total.max())
    return weight / weight.sum()


def _time_single_tickets(world: World, history: History, fitted: Posterior) -> list[tuple[float, float]]:
    """(ms on the clock, ms of this thread) from the evidence of one ticket to a fresh ranking."""
    times = []
    for at, case in zip(range(FITTED, FITTED + max(ALLOWED)), _cases(world), strict=False):
        evidence = count_evidence(world, history, at, at + 1)
        clock, busy = perf_counter(), thread_time()
        moved = update_posterior(fitted, evidence, world.vocabulary).posterior
        rank_suspects(belief(moved, case, world.vocabulary), world.vocabulary)
        times.append((1e3 * (perf_counter() - clock), 1e3 * (thread_time() - busy)))
    return times[1:]  # the first one fills caches that a running program has filled


if __name__ == "__main__":
    main()
