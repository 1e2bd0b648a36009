"""What is believed before the first ticket, as a `Posterior`: drawn from the priors, without a sampler to wait for."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from analytics.draw_layout import layout_coords, layout_positions
from analytics.evidence import empty_evidence
from analytics.model_inputs import LinkTable, ModelInputs, model_inputs
from analytics.posterior import Diagnostics, Posterior
from analytics.prior_odds import draw_alpha
from analytics.priors import LinkPrior
from analytics.terms import GRADE_COUNT, RATES, SPREAD_SHAPE, Priors, model_terms, parent_terms
from analytics.vocabulary import Vocabulary

# As many as a fit stores, so that both answer equally fast and equally finely.
PRIOR_DRAWS = 600

_Variables = dict[str, tuple[tuple[str, ...], np.ndarray]]


def prior_posterior(
    vocabulary: Vocabulary,
    *,
    link_prior: Callable[[ModelInputs], LinkPrior],
    priors: Priors,
    rng: np.random.Generator,
    shops: tuple[str, ...] = (),
) -> Posterior:
    """The answer on day one: draws of everything a fit would learn, given no ticket.

    Parameters
    ----------
    link_prior : seeded strengths, rules of thumb and handbook ratios of the links
    shops : workshops with an effect of their own; any other one is a newcomer

    Returns
    -------
    Posterior with `PRIOR_DRAWS` independent draws, for `suspects.belief` and `advice.advise` like any other

    Notes
    -----
    Effects are drawn themselves rather than their coefficients: n normals minus their mean are what `spread_out` makes
    of n - 1. What rules and ratios say about alpha is sampled by `prior_odds.draw_alpha`.
    """
    inputs = replace(model_inputs(empty_evidence(), vocabulary), shops=shops)
    wishes = link_prior(inputs)
    draws = draw_priors(inputs, wishes, priors, rng=rng, count=PRIOR_DRAWS)
    diagnostics = Diagnostics(max_rhat=1.0, min_ess=float(PRIOR_DRAWS), divergence_count=0, worst="nothing was fitted")
    return Posterior("priors", draws, diagnostics, ticket_count=0)


def draw_priors(
    inputs: ModelInputs, link_prior: LinkPrior, priors: Priors, *, rng: np.random.Generator, count: int
) -> xr.Dataset:
    """`count` independent draws of all variables of `Posterior.draws`, given no ticket."""
    terms = (*parent_terms(inputs, priors), *model_terms(inputs, priors))
    learned = [term for term in terms if term.learned]
    named = {term.name: term for term in terms}
    alpha, spreads = draw_alpha(inputs.links, link_prior, (named["suspect"], named["link"]), rng=rng, count=count)
    for term in learned:
        if term.name not in spreads:
            spreads[term.name] = rng.gamma(SPREAD_SHAPE, term.reach / SPREAD_SHAPE, count)
    variables: _Variables = {
        "alpha": (("draw", "link"), alpha),
        **_draw_groups(inputs, spreads, rng, count),
        **_draw_ages(inputs.links, len(inputs.ages), spreads, rng=rng),
        **_draw_misread(priors, spreads["misread_shop"], rng, len(inputs.shops)),
        **_draw_checks(inputs, priors, spreads, rng=rng),
        "spread": (("draw", "term"), np.stack([spreads[term.name] for term in learned], axis=1)),
        "minutes_spread": (("draw",), np.abs(rng.normal(0.0, priors.minutes_spread_scale, count))),
    }
    coords: dict[str, Any] = {**layout_coords(inputs), "term": [term.name for term in learned]}
    return xr.Dataset({**variables, **layout_positions(inputs)}, coords=coords)


def _draw_groups(
    inputs: ModelInputs, spreads: dict[str, np.ndarray], rng: np.random.Generator, count: int
) -> _Variables:
    """Families and shops: normals that sum to zero both ways; one alone departs from nothing."""
    variables: _Variables = {}
    sizes = (("beta", "family", "suspect", len(inputs.families), len(inputs.links.suspects)),
             ("gamma", "shop", "mode", len(inputs.shops), len(inputs.links.modes)))  # fmt: skip
    for name, group, kind, rows, columns in sizes:
        scale = spreads[group][:, None, None]
        table = (
            scale * _centre(_centre(rng.normal(size=(count, rows, columns)), 1), 2)
            if rows
            else np.zeros((count, 0, columns))
        )
        variables[name] = (("draw", group, kind), table)
        variables[f"new_{group}"] = (("draw", kind), scale[:, 0] * rng.normal(size=(count, columns)))
    return variables


def _draw_ages(
    links: LinkTable, age_count: int, spreads: dict[str, np.ndarray], *, rng: np.random.Generator
) -> _Variables:
    count, steps = len(spreads["age_mode"]), age_count - 1

    def step_sizes(term: str, size: int) -> np.ndarray:
        return spreads[term][:, None, None] * rng.normal(size=(count, size, steps))

    value = _centre(step_sizes("age_mode", len(links.modes)), 1)[:, links.mode]
    value += _centre(step_sizes("age_suspect", len(links.suspects)), 1)[:, links.suspect]
    value += step_sizes("age_symptom", len(links.pairs))[:, links.pair]
    walk = np.concatenate([np.zeros((*value.shape[:2], 1)), value.cumsum(axis=2)], axis=2)
    return {"age_effect": (("draw", "link", "age"), _centre(walk, 2))}


def _draw_misread(priors: Priors, spread: np.ndarray, rng: np.random.Generator, shop_count: int) -> _Variables:
    grade = np.array(priors.misread_mean) + priors.misread_grade_spread * rng.normal(size=(len(spread), GRADE_COUNT))
    logit = grade[:, :, None] + (spread[:, None] * rng.normal(size=(len(spread), shop_count)))[:, None]
    return {"misread": (("draw", "grade", "shop"), _expit(logit))}


def _draw_checks(
    inputs: ModelInputs, priors: Priors, spreads: dict[str, np.ndarray], *, rng: np.random.Generator
) -> _Variables:
    """Rates and minutes: a whole kind of check departs from what is seeded, and each check from its kind."""
    table, count = inputs.checks, len(spreads["minutes_check"])
    spread_of_kind = {**dict.fromkeys(RATES, priors.rate_kind_spread), "minutes": priors.minutes_kind_spread}
    departure = {}
    for name, kind_spread in spread_of_kind.items():
        kind = kind_spread * rng.normal(size=(count, len(table.kinds)))
        own = spreads[f"{name}_check"][:, None] * rng.normal(size=(count, len(table.checks)))
        departure[name] = kind[:, table.kind] + own
    return {
        "detection": (
            ("draw", "reveal"), _expit(_logit(table.reveal_seeded) + departure["detection"][:, table.reveal_check])
        ),
        "cure": (("draw", "remedy"), _expit(_logit(table.cure_seeded) + departure["cure"][:, table.cure_check])),
        "false_alarm": (("draw", "check"), _expit(_logit(table.false_alarm_seeded) + departure["false_alarm"])),
        "log_minutes": (("draw", "check"), table.log_minutes_seeded + departure["minutes"]),
    }  # fmt: skip


def _centre(values: np.ndarray, axis: int) -> np.ndarray:
    return values - values.mean(axis=axis, keepdims=True)


def _logit(rate: np.ndarray) -> np.ndarray:
    inside = np.clip(rate, 0.001, 0.999)
    return np.log(inside / (1.0 - inside))


def _expit(logit: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-logit))
