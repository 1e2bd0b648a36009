"""The demo's later tickets as machines to work on anew, and a fit that has seen only the earlier ones."""

import json
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from analytics.case import Case
from analytics.fit import Effort, fit_evidence
from analytics.plan_access import Access, build_access
from analytics.posterior import Posterior
from analytics.priors import link_prior
from analytics.scenario import World
from analytics.scenario_truth import world_from_truth
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.complaints import learn_complaints
from pipelines.history import read_evidence
from pipelines.rules import read_ratios
from pipelines.settings import Settings, seed_folder
from pipelines.store import reading

ORIGIN = date(2024, 1, 1)
SEED = 20_240_101
EFFORT = Effort(tune=300, draws=400, chains=2)
# A check that settled fewer tickets of a symptom than this is not worth trying by habit.
LEAST_SETTLED = 0.01
TRIES = 3


@dataclass(frozen=True)
class Machine:
    """One later ticket to work on: the case as it came in, the true suspect, what was recorded, and its luck.

    recorded : (check, outcome) in the order made; luck : (check of the vocabulary, try, 2) uniform numbers
    """

    case: Case
    true_suspect: str
    recorded: tuple[tuple[str, str], ...]
    luck: np.ndarray


@dataclass(frozen=True)
class Yard:
    """What stays the same for every machine."""

    vocabulary: Vocabulary
    world: World
    posterior: Posterior
    checks: dict[str, tuple[str, ...]]
    access: dict[str, Access]
    settled: dict[str, tuple[str, ...]]


def prepare(settings: Settings) -> tuple[Yard, dict[str, pd.DataFrame]]:
    """Fit the tickets before `ORIGIN`, and read all tickets with their truth."""
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    truth = json.loads((seed_folder() / "demo" / "truth.json").read_text(encoding="utf-8"))
    world = world_from_truth(truth, vocabulary)
    ratios = read_ratios(seed_folder() / "handbook_ratios.csv", vocabulary)
    posterior = fit_evidence(
        read_evidence(settings.store_path, vocabulary, until=ORIGIN),
        vocabulary,
        link_prior=lambda inputs: link_prior(vocabulary, inputs.links, rules=(), ratios=ratios),
        priors=Priors(),
        seed=SEED,
        effort=EFFORT,
        fit_id="replay",
    )
    words = learn_complaints(settings.store_path, posterior, vocabulary, until=ORIGIN)
    with reading(settings.store_path) as con:
        frames = {name: con.table(name).df() for name in ("tickets", "ticket_checks", "ticket_symptoms")}
    frames["truth"] = pd.read_csv(seed_folder() / "demo" / "truth_tickets.csv")
    checks = {symptom: tuple(c.code for c in vocabulary.checks_for(symptom)) for symptom in vocabulary.symptoms}
    yard = Yard(
        vocabulary=vocabulary,
        world=world,
        posterior=replace(posterior, text=words),
        checks=checks,
        access={symptom: _true_access(symptom, vocabulary, world) for symptom in vocabulary.symptoms},
        settled=_settled(frames, vocabulary),
    )
    return yard, frames


def draw_machines(yard: Yard, frames: dict[str, pd.DataFrame], *, count: int) -> list[Machine]:
    """Later tickets with a known true suspect and at least one recorded check, a random sample of them."""
    rng = np.random.default_rng(SEED)
    later = frames["tickets"][frames["tickets"]["opened_on"] >= pd.Timestamp(ORIGIN)]
    truth = frames["truth"].rename(columns={"ticket": "ticket_number"})
    later = later.merge(truth, on=["shop", "ticket_number"], how="inner", validate="one_to_one")
    made = frames["ticket_checks"].sort_values(["ticket_id", "position"]).groupby("ticket_id")
    later = later[later["ticket_id"].isin(set(made.groups))].sort_values("ticket_id")
    chosen = later.iloc[np.sort(rng.permutation(len(later))[:count])]
    others = dict(iter(frames["ticket_symptoms"].groupby("ticket_id")))
    return [
        Machine(
            case=_case(row, others.get(row["ticket_id"])),
            true_suspect=row["true_suspect"],
            recorded=tuple(made.get_group(row["ticket_id"])[["check_code", "outcome"]].itertuples(index=False)),
            luck=rng.random((len(yard.vocabulary.checks), TRIES, 2)),
        )
        for _, row in chosen.iterrows()
    ]


def _true_access(symptom: str, vocabulary: Vocabulary, world: World) -> Access:
    """Access tables with the true mean minutes: median x exp(spread^2 / 2), of a log-normal."""
    checks, names = vocabulary.checks_for(symptom), list(vocabulary.checks)
    mean = world.check_minutes * np.exp(world.minutes_spread**2 / 2.0)
    minutes = [float(mean[names.index(check.code)]) for check in checks]
    return build_access(
        checks, vocabulary.access_groups, minutes=minutes, open_groups=frozenset(), closed_for_retest=None
    )[0]


def _settled(frames: dict[str, pd.DataFrame], vocabulary: Vocabulary) -> dict[str, tuple[str, ...]]:
    """Symptom -> remedies by the share of its earlier tickets that they settled, largest first."""
    before = frames["tickets"][frames["tickets"]["opened_on"] < pd.Timestamp(ORIGIN)]
    cured = frames["ticket_checks"].query("outcome == 'cured'").merge(before, on="ticket_id")
    orders = {}
    for symptom in vocabulary.symptoms:
        allowed = {check.code for check in vocabulary.checks_for(symptom)}
        total = int((before["symptom"] == symptom).sum())
        counts = cured.loc[cured["symptom"] == symptom, "check_code"].value_counts()
        orders[symptom] = tuple(c for c, n in counts.items() if c in allowed and n >= LEAST_SETTLED * total)
    return orders


def _case(row: pd.Series, others: pd.DataFrame | None) -> Case:
    def blank(value: object) -> str:
        return "" if pd.isna(value) else str(value)

    def looked_for(presence: bool) -> tuple[str, ...]:  # noqa: FBT001 - a column's own value
        return () if others is None else tuple(others.loc[others["present"] == presence, "symptom"])

    return Case(
        symptom=row["symptom"],
        family=blank(row["family"]),
        shop=row["shop"],
        age_years=None if pd.isna(row["built_year"]) else int(row["opened_on"].year - row["built_year"]),
        also_present=looked_for(True),  # noqa: FBT003
        also_absent=looked_for(False),  # noqa: FBT003
        complaint=blank(row["complaint"]),
    )
