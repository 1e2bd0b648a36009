"""How long a fit takes: seconds to compile and to sample, worst R-hat and effective draws, peak memory.

    python -m benchmarks.fit [--tickets 2000 50000 1000000]

Each size runs in a process of its own, so that memory is its own and compiled code comes from the disk as it would in
daily use. The world is simulated: 15 symptoms, 30 suspects, 10 families, 12 shops, 8 age bands.
"""

import argparse
import json
import resource
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.evidence import Evidence, empty_evidence, make_evidence
from analytics.model_inputs import model_inputs
from analytics.posterior import Diagnostics
from analytics.priors import link_prior
from analytics.terms import Priors
from analytics.vocabulary import SOMETHING_ELSE, STRENGTH_WEIGHTS, AgeBand, Check, Suspect, Term, Vocabulary

REPORTS = Path(__file__).parent / "reports"
SYMPTOMS, SUSPECTS, FAMILIES, SHOPS, MODES, LISTED = 15, 30, 10, 12, 8, 12
FIRST_AGES = (0, 15, 30, 40, 50, 60, 70, 80)


def invent_vocabulary(rng: np.random.Generator) -> Vocabulary:
    """Codes without meaning, of the size asked for; each symptom lists a dozen suspects."""
    codes = [f"suspect_{at}" for at in range(SUSPECTS - 1)]
    suspects = {code: Suspect(code, code, f"part_{at % 15}", f"mode_{at % MODES}") for at, code in enumerate(codes)}
    suspects[SOMETHING_ELSE] = Suspect(SOMETHING_ELSE, "something else", "", "")
    links = {}
    for symptom in range(SYMPTOMS):
        for suspect in rng.choice(codes, LISTED - 1, replace=False):
            links[f"symptom_{symptom}", str(suspect)] = str(rng.choice(list(STRENGTH_WEIGHTS), p=[0.2, 0.3, 0.3, 0.2]))
        links[f"symptom_{symptom}", SOMETHING_ELSE] = "rarely"
    checks = {
        f"check_{code}": Check(f"check_{code}", code, "remedy", 10.0, "", (), 0.05, {}, {code: 0.8}) for code in codes
    }
    last_ages = [age - 1 for age in (*FIRST_AGES[1:], 131)]
    bands = tuple(AgeBand(f"from_{low}", low, high) for low, high in zip(FIRST_AGES, last_ages, strict=True))

    def terms(name: str, count: int) -> dict[str, Term]:
        return {f"{name}_{at}": Term(f"{name}_{at}", f"{name} {at}") for at in range(count)}

    return Vocabulary(
        families=terms("family", FAMILIES),
        symptoms=terms("symptom", SYMPTOMS),
        components=terms("part", 15),
        failure_modes=terms("mode", MODES),
        suspects=suspects,
        access_groups={},
        hazards={},
        checks=checks,
        links=links,
        age_bands=bands,
    )


@dataclass(frozen=True)
class Spreads:
    """Standard deviations of the world's log odds; an age step's is per band."""

    link: float = 0.5
    family: float = 0.5
    shop: float = 0.35
    age: float = 0.25


def draw_odds(vocabulary: Vocabulary, rng: np.random.Generator, spreads: Spreads = Spreads()) -> dict[str, np.ndarray]:
    """Symptom -> true probabilities (family, shop, age band, suspect of its list), of the model's own shape."""
    modes = list(vocabulary.failure_modes)
    family = _centred(rng.normal(0, spreads.family, (FAMILIES, SUSPECTS)))
    shop = _centred(rng.normal(0, spreads.shop, (SHOPS, MODES + 1)))
    age = _centred(rng.normal(0, spreads.age, (len(FIRST_AGES), MODES + 1)).cumsum(0))
    place = {code: at for at, code in enumerate(vocabulary.suspects)}
    mode = {code: modes.index(s.failure_mode) if s.failure_mode else MODES for code, s in vocabulary.suspects.items()}
    odds = {}
    for symptom in vocabulary.symptoms:
        codes = vocabulary.suspects_of(symptom)
        seeded = np.log([STRENGTH_WEIGHTS[vocabulary.links[symptom, code]] for code in codes])
        k, m = [place[code] for code in codes], [mode[code] for code in codes]
        eta = seeded + rng.normal(0, spreads.link, len(codes))
        eta = eta + family[:, None, None, k] + shop[None, :, None, m] + age[None, None, :, m]
        odds[symptom] = np.exp(eta) / np.exp(eta).sum(-1, keepdims=True)
    return odds


def _centred(effects: np.ndarray) -> np.ndarray:
    """What all families, shops or ages share is the link's affair, as in the model."""
    return effects - effects.mean(0)


def simulate_evidence(
    vocabulary: Vocabulary, odds: Mapping[str, np.ndarray], tickets: int, rng: np.random.Generator
) -> Evidence:
    """Confirmed tickets; families, shops and age bands come in alike, symptoms do not."""
    rates = rng.dirichlet(np.full(SYMPTOMS, 3.0))
    parts = []
    for symptom, rate in zip(vocabulary.symptoms, rates, strict=True):
        codes = vocabulary.suspects_of(symptom)
        share = odds[symptom] / (FAMILIES * SHOPS * len(FIRST_AGES))
        counts = rng.multinomial(int(tickets * rate), share.ravel()).reshape(share.shape)
        f, h, a, s = np.nonzero(counts)
        parts.append(
            pd.DataFrame(
                {
                    "symptom": symptom,
                    "family": [f"family_{at}" for at in f],
                    "shop": [f"shop_{at:02d}" for at in h],
                    "age_band": [vocabulary.age_bands[at].code for at in a],
                    "suspect": [codes[at] for at in s],
                    "confirmation": "reproduced_and_cured",
                    "results": "",
                    "others": "",
                    "weight": counts[f, h, a, s].astype(float),
                }
            )
        )
    nothing = empty_evidence()
    return make_evidence(
        pd.concat(parts),
        check_counts=nothing.check_counts,
        check_minutes=nothing.check_minutes,
        companions=nothing.companions,
        ticket_count=tickets,
    )


def measure(tickets: int) -> dict[str, Any]:
    """One fit in this process, timed in parts; very many tickets are fitted by short runs, as `faultodds fit` does."""
    started = time.perf_counter()
    import nutpie  # noqa: F401 - its import is counted apart

    from analytics import fit, settled_fit  # noqa: F401

    imported = time.perf_counter()
    rng = np.random.default_rng(tickets)
    vocabulary = invent_vocabulary(rng)
    evidence = simulate_evidence(vocabulary, draw_odds(vocabulary, rng), tickets, rng)
    counted = time.perf_counter()
    is_many = tickets >= settled_fit.MANY_TICKETS
    compiled, found = _fit_many(evidence, vocabulary) if is_many else _fit(evidence, vocabulary)
    sampled = time.perf_counter()
    return {
        "tickets": tickets,
        "cells": len(evidence.cells),
        "runs": "short" if is_many else "long",
        "import_seconds": imported - started,
        "compile_seconds": compiled,
        "sample_seconds": sampled - counted - 2 * compiled,
        # compiled once to be timed and once to be used
        "all_in_seconds": sampled - counted - compiled + imported - started,
        "max_rhat": found.max_rhat,
        "min_ess": found.min_ess,
        "divergences": found.divergence_count,
        "peak_gib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20,
    }


def _fit(evidence: Evidence, vocabulary: Vocabulary) -> tuple[float, Diagnostics]:
    """Seconds to compile, and how the fit went."""
    import nutpie

    from analytics.fit import fit_evidence
    from analytics.model import build_model

    before = time.perf_counter()
    inputs = model_inputs(evidence, vocabulary)
    nutpie.compile_pymc_model(build_model(inputs, link_prior(vocabulary, inputs.links), Priors()))
    compiled = time.perf_counter() - before
    return compiled, fit_evidence(evidence, vocabulary, **_question(vocabulary)).diagnostics


def _fit_many(evidence: Evidence, vocabulary: Vocabulary) -> tuple[float, Diagnostics]:
    """Nothing is compiled but by the first fit ever."""
    from analytics.settled_fit import fit_settled

    return 0.0, fit_settled(evidence, vocabulary, **_question(vocabulary)).diagnostics


def _question(vocabulary: Vocabulary) -> dict[str, Any]:
    return {"link_prior": lambda inputs: link_prior(vocabulary, inputs.links), "priors": Priors(), "seed": 1}


def main() -> None:
    """Runs all sizes and writes reports/fit.json."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tickets", type=int, nargs="+", default=[2_000, 50_000, 1_000_000])
    parser.add_argument("--one", action="store_true", help="measure the first size in this process and print JSON")
    chosen = parser.parse_args()
    if chosen.one:
        print(json.dumps(measure(chosen.tickets[0])))
        return
    command = [sys.executable, "-m", "benchmarks.fit", "--one", "--tickets"]
    subprocess.run([*command, "300"], check=True, capture_output=True)  # fills the cache of compiled code
    rows = [
        json.loads(subprocess.run([*command, str(n)], check=True, capture_output=True).stdout) for n in chosen.tickets
    ]
    REPORTS.mkdir(exist_ok=True)
    (REPORTS / "fit.json").write_text(json.dumps(rows, indent=2) + "\n")
    print(pd.DataFrame(rows).round(3).to_string(index=False))


if __name__ == "__main__":
    main()
