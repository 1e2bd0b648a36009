"""A workshop small enough to be fitted hundreds of times, and tickets that come about exactly as the model says."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from analytics.check_likelihood import ROUNDING
from analytics.check_rates import STRAY_CURE
from analytics.evidence import CELL_COLUMNS, Evidence, empty_evidence, make_evidence
from analytics.model_inputs import LinkTable
from analytics.vocabulary import (
    CONFIRMATIONS,
    SOMETHING_ELSE,
    UNKNOWN_AGE,
    AccessGroup,
    AgeBand,
    Check,
    Suspect,
    Term,
    Vocabulary,
)

SHOPS = ("North", "Pier", "South")
RULE, RATIOS = ("stuck", "plug_loose", 4.0, 3.0), (("switch", "dirty", 0.7), ("switch", "worn", 0.3))
# Shares of the small world: by shop, by family ("" = not given), of age bands by family, by grade of confirmation.
SHOP_SHARES, FAMILY_SHARES = (0.5, 0.3, 0.2), (0.55, 0.4, 0.05)
AGE_SHARES = ((0.5, 0.35, 0.15), (0.2, 0.3, 0.5), (0.35, 0.35, 0.3))
GRADE_SHARES = (0.5, 0.3, 0.2)
INCONCLUSIVE = 0.05
CHECKS_MADE = (1, 3)  # fewest, and one more than most, on one ticket


@dataclass(frozen=True)
class Kinds:
    """Shares of tickets that stay unresolved, and that do not tell the year of manufacture."""

    unresolved: float
    no_year: float


ALL_KINDS = Kinds(unresolved=0.25, no_year=0.15)


@dataclass(frozen=True, eq=False)
class Truth:
    """One draw of everything the model learns: arrays of `Posterior.draws` without `draw`."""

    values: Mapping[str, np.ndarray]
    links: LinkTable

    def chances(self, symptom: int, *, family: int, shop: int, age: int) -> np.ndarray:
        """(slot,) P(suspect); a family of -1 is not given and has no effect, as in the model."""
        values, listed = self.values, self.links.slots_of(symptom)
        odds = values["alpha"][listed] + values["gamma"][shop, self.links.mode[listed]]
        odds = odds + values["age_effect"][listed, age]
        if family >= 0:
            odds = odds + values["beta"][family, self.links.suspect[listed]]
        odds = np.exp(odds - odds.max())
        return odds / odds.sum()


def small_vocabulary() -> Vocabulary:
    """Three symptoms of five and six suspects that overlap, two families, seven checks, three age bands."""
    parts = (("plug", "loose"), ("plug", "dirty"), ("switch", "dirty"), ("switch", "worn"), ("coil", "open"))
    parts = (*parts, ("fuse", "loose"), ("lamp", "open"))
    codes = [f"{component}_{mode}" for component, mode in parts]
    suspects = {c: Suspect(c, c, *part) for c, part in zip(codes, parts, strict=True)}
    suspects[SOMETHING_ELSE] = Suspect(SOMETHING_ELSE, "something else", "", "")
    lists = {
        "stuck": {"plug_loose": "often", "plug_dirty": "sometimes", "switch_dirty": "often", "coil_open": "rarely"},
        "dark": {"fuse_loose": "often", "lamp_open": "often", "plug_dirty": "rarely", "switch_dirty": "sometimes"},
        "weak": {"switch_worn": "sometimes", "plug_dirty": "often", "coil_open": "rarely", "switch_dirty": "often"},
    }
    lists["stuck"]["switch_worn"] = "sometimes"
    links = {(s, k): strength for s, listed in lists.items() for k, strength in listed.items()}
    links |= {(symptom, SOMETHING_ELSE): "rarely" for symptom in lists}
    checks = (
        _check("look", "inspection", 2.0, reveals={"plug_loose": 0.8, "fuse_loose": 0.7}),
        _check("peer", "inspection", 5.0, reveals={"switch_worn": 0.6, "switch_dirty": 0.5}),
        _check("meter", "measurement", 6.0, reveals={"coil_open": 0.9, "lamp_open": 0.9}),
        _check("probe", "measurement", 9.0, reveals={"plug_dirty": 0.7}),
        _check("reseat", "remedy", 3.0, cures={"plug_loose": 0.9, "fuse_loose": 0.8}),
        _check("clean", "remedy", 8.0, cures={"switch_dirty": 0.8, "plug_dirty": 0.7}),
        _check("rewind", "remedy", 40.0, cures={"coil_open": 0.9}),
    )
    modes = dict.fromkeys(mode for _, mode in parts)
    return Vocabulary(
        families={code: Term(code, code) for code in ("crane", "piano")},
        symptoms={code: Term(code, code) for code in lists},
        components={code: Term(code, code) for code in dict.fromkeys(component for component, _ in parts)},
        failure_modes={code: Term(code, code) for code in modes},
        suspects=suspects,
        access_groups={"outside": AccessGroup("outside", "Nothing opened", 0, 0)},
        hazards={},
        checks={check.code: check for check in checks},
        links=links,
        age_bands=(AgeBand("young", 0, 29), AgeBand("middle", 30, 59), AgeBand("old", 60, 130)),
    )


def take_truth(draws: xr.Dataset, at: int, links: LinkTable) -> Truth:
    """Draw number `at` of `prior_draws.draw_priors`."""
    names = [str(name) for name in draws.data_vars if "draw" in draws[name].dims]
    return Truth({name: draws[name].values[at] for name in names}, links)


def simulate_evidence(
    truth: Truth, vocabulary: Vocabulary, rng: np.random.Generator, *, count: int, kinds: Kinds = ALL_KINDS
) -> Evidence:
    """Evidence of `count` tickets.

    As the model says: a suspect written at a lower grade is, at the shop's misread rate, any of the list; checks of a
    ticket with a written suspect answer to the written one, those of an unresolved ticket to the true one.
    """
    cells, results = [], []
    for _ in range(count):
        cell, made = _simulate_ticket(truth, vocabulary, rng, kinds)
        cells.append(cell)
        results += [(cell[4], *row) for row in made]
    made = pd.DataFrame(results, columns=["suspect", "check", "outcome", "minutes"])
    log = np.log(made["minutes"])
    minutes = pd.DataFrame({"check": made["check"], "count": 1.0, "log_sum": log, "log_square_sum": log**2})
    named = made.loc[made["suspect"] != "", ["check", "suspect", "outcome"]].astype("str")
    return make_evidence(
        pd.DataFrame(cells, columns=list(CELL_COLUMNS)),
        check_counts=named.assign(count=1.0),
        check_minutes=minutes,
        companions=empty_evidence().companions,
        ticket_count=count,
    )


def _simulate_ticket(
    truth: Truth, vocabulary: Vocabulary, rng: np.random.Generator, kinds: Kinds
) -> tuple[tuple[object, ...], list[tuple[str, str, float]]]:
    symptom, shop = int(rng.integers(len(vocabulary.symptoms))), int(rng.choice(len(SHOPS), p=SHOP_SHARES))
    family = (0, 1, -1)[rng.choice(3, p=FAMILY_SHARES)]
    age = int(rng.choice(3, p=AGE_SHARES[family]))
    chance = truth.chances(symptom, family=family, shop=shop, age=age)
    slot, name = int(rng.choice(len(chance), p=chance)), list(vocabulary.symptoms)[symptom]
    grade = -1 if rng.random() < kinds.unresolved else int(rng.choice(3, p=GRADE_SHARES))
    if grade > 0 and rng.random() < truth.values["misread"][grade - 1, shop]:
        slot = int(rng.integers(len(chance)))
    suspect = vocabulary.suspects_of(name)[slot]
    made = _make_checks(truth, vocabulary, rng, suspect=suspect)
    band = UNKNOWN_AGE if rng.random() < kinds.no_year else vocabulary.age_bands[age].code
    results = "" if grade >= 0 else ";".join(sorted(f"{check}={outcome}" for check, outcome, _ in made))
    where = (name, list(vocabulary.families)[family] if family >= 0 else "", SHOPS[shop], band)
    told = (suspect, CONFIRMATIONS[grade]) if grade >= 0 else ("", "")
    return (*where, *told, results, "", 1.0), made


def _make_checks(
    truth: Truth, vocabulary: Vocabulary, rng: np.random.Generator, *, suspect: str
) -> list[tuple[str, str, float]]:
    values, names, made = truth.values, list(vocabulary.checks), []
    rates = {name: _pair_rates(vocabulary, values[name], name) for name in ("detection", "cure")}
    for at in rng.permutation(len(names))[: rng.integers(*CHECKS_MADE)]:
        check = vocabulary.checks[names[at]]
        hit, miss = ("cured", "not_cured") if check.is_remedy else ("fault_found", "clear")
        if check.is_remedy:
            rate = rates["cure"].get((check.code, suspect), STRAY_CURE)
        else:
            rate = rates["detection"].get((check.code, suspect), values["false_alarm"][at])
        outcome = "inconclusive" if rng.random() < INCONCLUSIVE else hit if rng.random() < rate else miss
        spread = np.hypot(values["minutes_spread"], ROUNDING)
        minutes = float(np.exp(values["log_minutes"][at] + spread * rng.normal()))
        made.append((check.code, outcome, minutes))
    return made


def _pair_rates(vocabulary: Vocabulary, rates: np.ndarray, name: str) -> dict[tuple[str, str], float]:
    pairs = [(c.code, k) for c in vocabulary.checks.values() for k in (c.reveals if name == "detection" else c.cures)]
    return dict(zip(pairs, rates.tolist(), strict=True))


def _check(
    code: str,
    kind: str,
    minutes: float,
    *,
    reveals: dict[str, float] | None = None,
    cures: dict[str, float] | None = None,
) -> Check:
    return Check(code, code, kind, minutes, "outside", (), 0.05, reveals or {}, cures or {})
