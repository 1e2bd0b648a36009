"""How much of the gap to the true odds anybody could close: `python -m benchmarks.ceiling --worlds 4`.

The worlds of `benchmarks.fit`, drawn from the model's own shape. Log loss between counts per symptom with one added
(0 %) and the true odds (100 %), over all contexts alike. `model` is the fit as it ships. `told` is the same model told
how far the world's effects really spread, which no shop can know: in a world drawn from a prior, the posterior under
that prior has the smallest expected log loss of all forecasts (log loss is proper), so nothing closes more on average.
`unseeded` is the model without the seeded strengths of links, as a comparison with models that know none. Written to
benchmarks/reports.
"""

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numpy as np

from analytics.evidence import Evidence
from analytics.fit import Effort, sample_evidence, thin_samples
from analytics.model_inputs import model_inputs
from analytics.posterior import Posterior
from analytics.priors import link_prior
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from benchmarks.fit import Spreads, draw_odds, invent_vocabulary, simulate_evidence

REPORTS = Path(__file__).parent / "reports"
TICKETS = (300, 2000)
EFFORT = Effort(tune=300, draws=500, chains=2)
SURE, NOTHING = 1e4, 1e-3
TOLD = Priors(
    spread_shape=SURE,
    suspect_scale=NOTHING,
    link_scale=Spreads().link,
    family_scale=Spreads().family,
    shop_scale=Spreads().shop,
    age_mode_scale=Spreads().age,
    age_suspect_scale=NOTHING,
    age_symptom_scale=NOTHING,
)
UNSEEDED = "unseeded"
RIVALS: Mapping[str, Priors] = {"model": Priors(), "told": TOLD, UNSEEDED: Priors()}


@click.command()
@click.option("--worlds", default=4, show_default=True)
def main(worlds: int) -> None:
    """Measure, print a line a world, write reports/ceiling.json."""
    rows = [row for world in range(1, worlds + 1) for tickets in TICKETS for row in _measure(world, tickets)]
    REPORTS.mkdir(exist_ok=True)
    (REPORTS / "ceiling.json").write_text(json.dumps(rows, indent=1) + "\n")
    for tickets in TICKETS:
        for name in RIVALS:
            closed = [row["closed"] for row in rows if row["tickets"] == tickets and row["fit"] == name]
            print(f"{tickets} tickets, {name}: {np.mean(closed):.1%} closed, worlds {np.round(closed, 3).tolist()}")


def _measure(world: int, tickets: int) -> list[dict[str, Any]]:
    rng = np.random.default_rng(world)
    vocabulary = invent_vocabulary(rng)
    odds = draw_odds(vocabulary, rng)
    evidence = simulate_evidence(vocabulary, odds, tickets, rng)
    rows = []
    for name, priors in RIVALS.items():
        seen = _without_strengths(vocabulary) if name == UNSEEDED else vocabulary
        inputs = model_inputs(evidence, seen)
        prior = link_prior(seen, inputs.links)
        samples = sample_evidence(inputs, prior, priors, seed=world, progress=None, effort=EFFORT)
        posterior = thin_samples(samples, inputs, prior, priors=priors, seed=world, fit_id="ceiling")
        losses = _losses(vocabulary, odds, evidence, posterior)
        closed = (losses["counts"] - losses["forecast"]) / (losses["counts"] - losses["true"])
        rhat = posterior.diagnostics.max_rhat
        rows.append({"world": world, "tickets": tickets, "fit": name, "closed": closed, **losses, "max_rhat": rhat})
        print(json.dumps(rows[-1]), flush=True)
    return rows


def _without_strengths(vocabulary: Vocabulary) -> Vocabulary:
    return replace(vocabulary, links=dict.fromkeys(vocabulary.links, "sometimes"))


def _losses(
    vocabulary: Vocabulary, odds: Mapping[str, np.ndarray], evidence: Evidence, posterior: Posterior
) -> dict[str, float]:
    """Mean log loss in nats of the true odds, of the posterior mean and of counts with one added."""
    found: dict[str, list[float]] = {"true": [], "forecast": [], "counts": []}
    for symptom, true in odds.items():
        mine = evidence.cells[evidence.cells["symptom"] == symptom].groupby("suspect")["weight"].sum()
        counts = mine.reindex(vocabulary.suspects_of(symptom), fill_value=0.0).to_numpy() + 1.0
        forecasts = {"true": true, "forecast": _forecast(posterior, symptom), "counts": counts / counts.sum()}
        for name, forecast in forecasts.items():
            found[name].append(float(-(true * np.log(forecast)).sum(-1).mean()))
    return {name: float(np.mean(values)) for name, values in found.items()}


def _forecast(posterior: Posterior, symptom: str) -> np.ndarray:
    """Posterior mean (family, shop, age band, suspect of the list)."""
    draws = posterior.draws
    slots = np.flatnonzero(draws["link_symptom"].values == list(draws["symptom"].values).index(symptom))
    suspect, mode = draws["link_suspect"].values[slots], draws["link_mode"].values[slots]
    total = np.zeros((1, 1, 1, 1))
    for draw in range(draws.sizes["draw"]):
        one = draws.isel(draw=draw)
        eta = one["alpha"].values[slots] + one["beta"].values[:, None, None, suspect]
        eta = eta + one["gamma"].values[None, :, None, mode] + one["age_effect"].values[slots].T[None, None]
        share = np.exp(eta)
        total = total + share / share.sum(-1, keepdims=True)
    return total / draws.sizes["draw"]


if __name__ == "__main__":
    main()
