"""Fixtures for every test: a vocabulary small enough to count by hand."""

from collections.abc import Callable

import numpy as np
import pytest
import xarray as xr

from analytics.check_rates import CheckTable, count_check_table
from analytics.companions import companion_rates
from analytics.evidence import empty_evidence
from analytics.model_inputs import LinkTable, link_table
from analytics.posterior import Diagnostics, Posterior
from analytics.vocabulary import (
    SOMETHING_ELSE,
    STRENGTH_WEIGHTS,
    AccessGroup,
    AgeBand,
    Check,
    Suspect,
    Term,
    Vocabulary,
)

TINY_SHOPS = ("Harbour", "Pier")
SPREADS = {"suspect": 0.3, "link": 0.5, "family": 0.4, "shop": 0.3, "misread_shop": 0.5}


@pytest.fixture(scope="session")
def tiny_vocabulary() -> Vocabulary:
    """Two families, two symptoms, four suspects and something else, six checks, three age bands."""
    suspects = [
        Suspect("plug_loose", "Plug loose", "plug", "loose", ("plug not seated",)),
        Suspect("switch_dirty", "Switch dirty", "switch", "dirty"),
        Suspect("coil_open", "Coil open", "coil", "open"),
        Suspect("fuse_blown", "Fuse blown", "fuse", "blown"),
        Suspect(SOMETHING_ELSE, "Something else", "", ""),
    ]
    checks = [
        _check("look_at_plug", "inspection", "Look at the plug", minutes=2, reveals={"plug_loose": 0.8}),
        _check("meter_coil", "measurement", "Meter the coil", minutes=5, reveals={"coil_open": 0.95}),
        _check("reseat_plug", "remedy", "Reseat the plug", minutes=3, cures={"plug_loose": 0.9}),
        _check("clean_switch", "remedy", "Clean the switch", minutes=6, cures={"switch_dirty": 0.85}),
        _check("replace_coil", "remedy", "Replace the coil", minutes=30, cures={"coil_open": 0.98}),
        _check("replace_fuse", "remedy", "Replace the fuse", minutes=4, cures={"fuse_blown": 0.9}),
    ]
    links = {
        ("stuck", "plug_loose"): "often",
        ("stuck", "switch_dirty"): "often",
        ("stuck", "coil_open"): "rarely",
        ("stuck", SOMETHING_ELSE): "rarely",
        ("dark", "fuse_blown"): "often",
        ("dark", "plug_loose"): "sometimes",
        ("dark", SOMETHING_ELSE): "rarely",
    }
    return Vocabulary(
        families=_terms(("crane", "Crane grab", ("grab machine",)), ("piano", "Player piano", ())),
        symptoms=_terms(("stuck", "Grab is stuck", ("jaws do not move",)), ("dark", "Cabinet is dark", ("no lights",))),
        components=_terms(("plug", "Plug", ()), ("switch", "Switch", ()), ("coil", "Coil", ()), ("fuse", "Fuse", ())),
        failure_modes=_terms(
            *(("loose", "Loose", ()), ("dirty", "Dirty", ("oxidised",)), ("open", "Open", ("open circuit",))),
            ("blown", "Blown", ()),
        ),
        suspects={suspect.code: suspect for suspect in suspects},
        access_groups={"outside": AccessGroup("outside", "Nothing opened", 0, 0)},
        hazards=_terms(("mains_present", "Mains inside", ())),
        checks={check.code: check for check in checks},
        links=links,
        age_bands=(AgeBand("young", 0, 29), AgeBand("middle", 30, 59), AgeBand("old", 60, 130)),
    )


@pytest.fixture(scope="session")
def tiny_posterior(tiny_vocabulary: Vocabulary) -> Posterior:
    """Sixty draws around the seeded odds of the tiny vocabulary, for the shops `Harbour` and `Pier`; not fitted."""
    return _make_posterior(tiny_vocabulary, draw_count=60)


@pytest.fixture(scope="session")
def make_posterior() -> Callable[..., Posterior]:
    """`make_posterior(vocabulary, draw_count=..., seed=..., shops=...)`: as `tiny_posterior`, of any size."""
    return _make_posterior


def _make_posterior(
    vocabulary: Vocabulary, *, draw_count: int = 60, seed: int = 5, shops: tuple[str, ...] = TINY_SHOPS
) -> Posterior:
    """All variables of a fit, drawn from independent normals with the spreads of `SPREADS`."""
    rng, links = np.random.default_rng(seed), link_table(vocabulary)
    checks = count_check_table(empty_evidence(), vocabulary)
    draws = xr.Dataset(
        {
            **_drawn_odds(rng, vocabulary, links, sizes=(draw_count, len(shops))),
            **_drawn_checks(rng, checks, draw_count),
            "spread": (("draw", "term"), np.tile(list(SPREADS.values()), (draw_count, 1))),
            "age_share": (("family_or_new", "age"), _even(len(vocabulary.families) + 1, len(vocabulary.age_bands))),
            "companion_present": (("suspect", "symptom"), companion_rates(empty_evidence(), vocabulary)),
            "link_symptom": (("link",), links.symptom),
            "link_suspect": (("link",), links.suspect),
            "link_mode": (("link",), links.mode),
        },
        coords={
            "symptom": list(links.symptoms),
            "suspect": list(links.suspects),
            "mode": list(links.modes),
            "family": list(vocabulary.families),
            "shop": np.array(shops, dtype=object),
            "age": [band.code for band in vocabulary.age_bands],
            "check": list(checks.checks),
            "term": list(SPREADS),
        },
    )
    return Posterior("hand-made", draws, Diagnostics(1.0, 1000.0, 0, "alpha[0]"), ticket_count=200)


def _drawn_odds(
    rng: np.random.Generator, vocabulary: Vocabulary, links: LinkTable, *, sizes: tuple[int, int]
) -> dict[str, tuple[tuple[str, ...], np.ndarray]]:
    draw_count, shop_count = sizes
    pairs = zip(links.symptom, links.suspect, strict=True)
    seeded = np.log([STRENGTH_WEIGHTS[vocabulary.links[links.symptoms[s], links.suspects[k]]] for s, k in pairs])
    families, suspects, modes = len(vocabulary.families), len(links.suspects), len(links.modes)
    walk = rng.normal(0.0, 0.2, (draw_count, len(seeded), len(vocabulary.age_bands))).cumsum(axis=2)
    misread = np.array([-2.9, -1.4])[:, None] + rng.normal(0.0, SPREADS["misread_shop"], (draw_count, 2, shop_count))

    def normal(term: str, *shape: int) -> np.ndarray:
        return rng.normal(0.0, SPREADS[term], (draw_count, *shape))

    return {
        "alpha": (("draw", "link"), seeded + normal("link", len(seeded))),
        "beta": (("draw", "family", "suspect"), normal("family", families, suspects)),
        "gamma": (("draw", "shop", "mode"), normal("shop", shop_count, modes)),
        "age_effect": (("draw", "link", "age"), walk - walk.mean(axis=2, keepdims=True)),
        "new_family": (("draw", "suspect"), normal("family", suspects)),
        "new_shop": (("draw", "mode"), normal("shop", modes)),
        "misread": (("draw", "grade", "shop"), _expit(misread)),
    }


def _drawn_checks(
    rng: np.random.Generator, table: CheckTable, draw_count: int
) -> dict[str, tuple[tuple[str, ...], np.ndarray]]:
    def near(seeded: np.ndarray) -> np.ndarray:
        return _expit(np.log(seeded / (1.0 - seeded)) + rng.normal(0.0, 0.5, (draw_count, len(seeded))))

    minutes = table.log_minutes_seeded + rng.normal(0.0, 0.3, (draw_count, len(table.checks)))
    return {
        "detection": (("draw", "reveal"), near(table.reveal_seeded)),
        "cure": (("draw", "remedy"), near(table.cure_seeded)),
        "false_alarm": (("draw", "check"), near(table.false_alarm_seeded)),
        "log_minutes": (("draw", "check"), minutes),
        "minutes_spread": (("draw",), np.full(draw_count, 0.5)),
        "reveal_check": (("reveal",), table.reveal_check),
        "reveal_suspect": (("reveal",), table.reveal_suspect),
        "remedy_check": (("remedy",), table.cure_check),
        "remedy_suspect": (("remedy",), table.cure_suspect),
    }


def _even(rows: int, columns: int) -> np.ndarray:
    return np.full((rows, columns), 1.0 / columns)


def _expit(logit: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-logit))


def _terms(*terms: tuple[str, str, tuple[str, ...]]) -> dict[str, Term]:
    return {code: Term(code, name, aliases) for code, name, aliases in terms}


def _check(
    code: str,
    kind: str,
    name: str,
    *,
    minutes: float,
    reveals: dict[str, float] | None = None,
    cures: dict[str, float] | None = None,
) -> Check:
    return Check(code, name, kind, minutes, "outside", ("mains_present",), 0.03, reveals or {}, cures or {})
