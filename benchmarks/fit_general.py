"""The same 2,000 tickets through a general-purpose formula library: `python -m benchmarks.fit_general --minutes 20`.

A multinomial regression with partial pooling by family, shop and age band, in bambi's categorical family, by the same
sampler. bambi is not a dependency: run this in an environment that has both. It knows no lists, so every suspect is
possible in every symptom, and no failure modes; compared is the time to an answer that may be served. The run is
stopped after the minutes given; it then has taken at least so long.
"""

import json
import subprocess
import sys
import time

import click
import numpy as np
import pandas as pd

from benchmarks.fit import REPORTS, draw_odds, invent_vocabulary, simulate_evidence

TICKETS, TUNE, DRAWS, CHAINS = 2_000, 300, 500, 4
COLUMNS = ["symptom", "family", "shop", "age_band", "suspect"]
FORMULA = "suspect ~ 0 + symptom + (1 | family) + (1 | shop) + (1 | age_band)"


@click.command()
@click.option("--minutes", default=20, show_default=True, help="Stop after so many.")
@click.option("--one", is_flag=True, hidden=True)
def main(minutes: int, *, one: bool) -> None:
    """Time both, print, write reports/fit_general.json."""
    if one:
        print(json.dumps(fit_general()))
        return
    ours = _run([sys.executable, "-m", "benchmarks.fit", "--one", "--tickets", str(TICKETS)], minutes)
    theirs = _run([sys.executable, "-m", "benchmarks.fit_general", "--one"], minutes)
    report = {"tickets": TICKETS, "formula": FORMULA, "ours": ours, "general": theirs}
    (REPORTS / "fit_general.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(report, indent=1))


def fit_general() -> dict[str, float]:
    """Seconds, worst R-hat and effective draws of the general library's fit."""
    import arviz as az
    import bambi

    rng = np.random.default_rng(TICKETS)
    vocabulary = invent_vocabulary(rng)
    cells = simulate_evidence(vocabulary, draw_odds(vocabulary, rng), TICKETS, rng).cells
    frame = cells.loc[
        cells.index.repeat(cells["weight"].astype(int)), ["symptom", "family", "shop", "age_band", "suspect"]
    ]
    frame = pd.DataFrame({name: pd.Categorical(frame[name].astype(str)) for name in frame})
    began = time.perf_counter()
    model = bambi.Model(FORMULA, frame.reset_index(drop=True), family="categorical")
    found = model.fit(
        draws=DRAWS, tune=TUNE, chains=CHAINS, cores=2, inference_method="nutpie", progressbar=False, random_seed=1
    )
    seconds = time.perf_counter() - began
    rhat, ess = az.rhat(found), az.ess(found)
    worst = max(float(np.nanmax(values)) for values in rhat.to_dataset().data_vars.values())
    least = min(float(np.nanmin(values)) for values in ess.to_dataset().data_vars.values())
    return {"all_in_seconds": seconds, "max_rhat": worst, "min_ess": least}


def _run(command: list[str], minutes: int) -> dict[str, object]:
    began = time.perf_counter()
    try:
        done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=60 * minutes)
    except subprocess.TimeoutExpired:
        return {"stopped_after_seconds": round(time.perf_counter() - began)}
    return dict(json.loads(done.stdout.strip().splitlines()[-1]))


if __name__ == "__main__":
    main()
