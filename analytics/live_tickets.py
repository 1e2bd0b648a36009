"""New tickets as contexts with what was seen in them, their log likelihood, and the effects that move with it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analytics.evidence import Evidence, read_results
from analytics.live_effects import TERMS, own_spread, to_rate
from analytics.live_transform import Move, Score, carry, find_move
from analytics.posterior import Posterior
from analytics.suspects import outcome_likelihood
from analytics.vocabulary import CONFIRMATIONS, SOMETHING_ELSE, UNKNOWN_AGE

NOT_GIVEN = -1


@dataclass(frozen=True, eq=False)
class Sighting:
    """Tickets that told the same: likelihood (slot,), how many, grade of confirmation below the surest one or
    `NOT_GIVEN`.
    """

    likelihood: np.ndarray
    weight: float
    grade: int


@dataclass(frozen=True, eq=False)
class Context:
    """Positions of a symptom, family, shop and age band (`NOT_GIVEN` where a ticket names none) and what was seen."""

    symptom: int
    family: int
    shop: int
    age: int
    sightings: tuple[Sighting, ...]

    @property
    def grades(self) -> tuple[int, ...]:
        """Grades whose written suspect may be a guess of this shop."""
        if self.shop == NOT_GIVEN:
            return ()
        return tuple(sorted({seen.grade for seen in self.sightings} - {NOT_GIVEN}))


def sort_tickets(posterior: Posterior, evidence: Evidence) -> tuple[tuple[Context, ...], float]:
    """Contexts of the new tickets, and how many tickets had to be left out.

    A ticket is left out when the fit does not know its symptom or age band: the vocabulary was edited since.
    """
    positions, found = posterior.positions, dict[tuple[int, int, int, int], list[Sighting]]()
    left_out = 0.0
    for cell in evidence.cells.itertuples(index=False):
        age = NOT_GIVEN if cell.age_band == UNKNOWN_AGE else positions["age"].get(cell.age_band)
        symptom = positions["symptom"].get(cell.symptom)
        if age is None or symptom is None:
            left_out += cell.weight
            continue
        family, shop = positions["family"].get(cell.family, NOT_GIVEN), positions["shop"].get(cell.shop, NOT_GIVEN)
        grade = CONFIRMATIONS.index(cell.confirmation) - 1 if cell.confirmation else NOT_GIVEN
        seen = Sighting(_cell_likelihood(posterior, symptom, cell), float(cell.weight), grade)
        found.setdefault((symptom, family, shop, age), []).append(seen)
    return tuple(Context(*key, tuple(sightings)) for key, sightings in found.items()), left_out


def learn_context(effects: dict[str, np.ndarray], posterior: Posterior, context: Context) -> Move:
    """Moves the effects, in place, to where the tickets of one context put them."""
    links = posterior.links_by_symptom[context.symptom]
    log_odds = _log_odds(effects, posterior, context, links)
    misread = effects["misread"][:, list(context.grades), context.shop]
    move = find_move(np.concatenate([log_odds, misread], axis=1), _ticket_score(context, len(links)))
    _carry_odds(effects, posterior.arrays, context, move=move, links=links)
    own = np.zeros((*effects["misread"].shape[1:], move.pull.shape[1]), dtype=bool)
    own[list(context.grades), context.shop] = True
    carry(effects["misread"], move, own)
    return move


def _cell_likelihood(posterior: Posterior, symptom: int, cell: object) -> np.ndarray:
    """(slot,): one-hot of the written suspect, else the product over checks and other symptoms, as in the fit."""
    positions, arrays = posterior.positions, posterior.arrays
    listed = arrays["link_suspect"][posterior.links_by_symptom[symptom]]
    suspect, results, others = (str(getattr(cell, name)) for name in ("suspect", "results", "others"))
    if suspect:
        hit = listed == positions["suspect"].get(suspect, NOT_GIVEN)
        # a suspect outside the list counts as something else
        return (hit if hit.any() else listed == positions["suspect"][SOMETHING_ELSE]).astype(float)
    product = np.ones(len(listed))
    for check, outcome in read_results(results):
        if check in positions["check"]:
            product *= outcome_likelihood(posterior, check, outcome).mean(0)[listed]
    for other, presence in read_results(others):
        if other in positions["symptom"]:
            rate = arrays["companion_present"][listed, positions["symptom"][other]]
            product *= rate if presence == "present" else 1.0 - rate
    return product / product.max()


def _log_odds(
    effects: Mapping[str, np.ndarray], posterior: Posterior, context: Context, links: np.ndarray
) -> np.ndarray:
    """(draw, slot): log odds of the suspects; without a year, those of their average over the family's ages."""
    arrays = posterior.arrays
    odds = effects["alpha"][:, links]
    if context.family != NOT_GIVEN:
        beta = effects["beta"][:, context.family, arrays["link_suspect"][links]]
        odds = odds + beta * own_spread(effects, "beta")[:, None]
    if context.shop != NOT_GIVEN:
        gamma = effects["gamma"][:, context.shop, arrays["link_mode"][links]]
        odds = odds + gamma * own_spread(effects, "gamma")[:, None]
    ages = effects["age_effect"][:, links]
    if context.age != NOT_GIVEN:
        odds = odds + ages[:, :, context.age]
    else:
        odds = np.log(np.einsum("dka,a->dk", _softmax(odds[:, :, None] + ages), arrays["age_share"][context.family]))
    # only contrasts have a meaning
    return odds - odds.mean(1, keepdims=True)


def _ticket_score(context: Context, slots: int) -> Score:
    """Log likelihood of one context's tickets by the log odds of its suspects and the logits of its misread rates."""

    def score(readout: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        rows, draws = readout.shape[1], len(readout)
        gradient, curvature, total = np.zeros(rows), np.zeros((rows, rows)), np.zeros(draws)
        chance = _softmax(readout[:, :slots])
        spread = np.diag(chance.mean(0)) - chance.T @ chance / draws
        for seen in context.sightings:
            row = slots + context.grades.index(seen.grade) if seen.grade in context.grades else NOT_GIVEN
            rate = to_rate(readout[:, [row]]) if row != NOT_GIVEN else np.zeros((draws, 1))
            # a written suspect is the true one, or a guess among the list
            joint = chance * (seen.likelihood * (1.0 - rate) + rate / slots)
            whole = joint.sum(1, keepdims=True)
            told = joint / whole
            gradient[:slots] += seen.weight * (told - chance).mean(0)
            curvature[:slots, :slots] += seen.weight * (spread - np.diag(told.mean(0)) + told.T @ told / draws)
            total += seen.weight * np.log(whole[:, 0])
            if row != NOT_GIVEN:
                slope = (chance @ (1.0 / slots - seen.likelihood))[:, None] / whole * rate * (1.0 - rate)
                gradient[row] += seen.weight * slope.mean()
                curvature[row, row] += seen.weight * (slope**2).mean()
        return gradient, curvature, total

    return score


def _carry_odds(
    effects: dict[str, np.ndarray], arrays: Mapping[str, np.ndarray], context: Context, *, move: Move, links: np.ndarray
) -> None:
    """Effects follow the suspects of the context that share their suspect or failure mode, or all in the same list;
    spreads follow any.
    """
    suspect, mode = arrays["link_suspect"][links], arrays["link_mode"][links]
    here = (arrays["link_symptom"] == context.symptom)[:, None]
    by_mode = here | np.equal.outer(arrays["link_mode"], mode)
    ages = effects["age_effect"].shape[2]
    _carry_slots(effects["alpha"], move, here | np.equal.outer(arrays["link_suspect"], suspect))
    _carry_slots(effects["log_spread"], move, np.ones((len(TERMS), len(links)), dtype=bool))
    _carry_slots(effects["age_effect"], move, np.repeat(by_mode[:, None], ages, axis=1))
    for name, own, group in (("beta", suspect, context.family), ("gamma", mode, context.shop)):
        if group != NOT_GIVEN:
            members, codes = effects[name].shape[1:]
            related = np.repeat(np.equal.outer(np.arange(codes), own)[None], members, axis=0)
            related[group, own] = True
            _carry_slots(effects[name], move, related)


def _carry_slots(values: np.ndarray, move: Move, related: np.ndarray) -> None:
    """`carry` for the rows of suspects; nothing but a misread rate follows a misread rate."""
    spare = move.pull.shape[1] - related.shape[-1]
    carry(values, move, np.concatenate([related, np.zeros((*related.shape[:-1], spare), dtype=bool)], axis=-1))


def _softmax(log_odds: np.ndarray) -> np.ndarray:
    """Over axis 1, the suspects."""
    odds = np.exp(log_odds - log_odds.max(1, keepdims=True))
    return odds / odds.sum(1, keepdims=True)
