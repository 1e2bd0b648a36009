"""Whether the fitted model would write tickets like those it was fitted to: replicated counts beside the real ones."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analytics.evidence import Evidence
from analytics.live_tickets import NOT_GIVEN, Context, sort_tickets
from analytics.pointwise import is_named, named_sightings, suspect_chances, written_chances
from analytics.posterior import Posterior

# What is counted: table -> its two dims. A link is a symptom with one suspect of its list.
TABLES: Mapping[str, tuple[str, str]] = {
    "mode_by_age": ("mode", "age"),
    "shop_by_mode": ("shop", "mode"),
    "suspect_by_symptom": ("symptom", "suspect"),
}
# An entry is called surprising when fewer than this share of replicated histories are as far off.
SURPRISING = 0.01


@dataclass(frozen=True)
class Entry:
    """One count: its codes, tickets (unresolved ones by their likely suspects), what replicated histories had, and the
    share of them as far off.
    """

    codes: tuple[str, str]
    observed: float
    expected: float
    low_90: float
    high_90: float
    residual: float
    p_value: float


@dataclass(frozen=True)
class TableCheck:
    """One table: p-value of its misfit as a whole, its entries, how many are surprising; `worst` ones first."""

    name: str
    ticket_count: float
    p_value: float
    entry_count: int
    surprising_count: int
    worst: tuple[Entry, ...]


@dataclass(frozen=True, eq=False)
class _Counts:
    """observed, expected and replicated (draw, entry); codes of each entry."""

    codes: tuple[tuple[str, str], ...]
    observed: np.ndarray
    expected: np.ndarray
    replicated: np.ndarray


def check_predictions(
    posterior: Posterior, evidence: Evidence, *, rng: np.random.Generator, worst_count: int = 5
) -> tuple[TableCheck, ...]:
    """Suspects, counted three ways, against as many replicated histories as there are draws.

    Parameters
    ----------
    evidence : the tickets the posterior was fitted to

    Notes
    -----
    Which tickets end unresolved depends on the suspect, so those with a written one alone would look odd under a model
    that is right. Each draw therefore completes the unresolved ones with suspects drawn given their checks: Gelman, Van
    Mechelen, Verbeke, Heitjan and Meulders, Biometrics 61 (2005).
    Misfit of a table: sum over entries of (sqrt count - sqrt expected)^2, of the real and of the replicated counts
    under the same draw; the p-value is the share of draws whose replicate misfits more. Gelman, Meng and Stern,
    Statistica Sinica 6 (1996); the measure is Freeman and Tukey's (1950), because small expected counts do not upset
    it. The tickets are used twice, so these p-values crowd around one half: a small one is bad news, a large one no
    proof.
    """
    counts = _count(posterior, evidence, rng)
    return tuple(_check_table(name, counts[name], worst_count) for name in TABLES)


def _check_table(name: str, counts: _Counts, worst_count: int) -> TableCheck:
    real, replicated = (_misfit(table, counts.expected) for table in (counts.observed, counts.replicated))
    mean, sd = counts.replicated.mean(0), counts.replicated.std(0)
    observed = counts.observed.mean(0)
    low, high = np.quantile(counts.replicated, (0.05, 0.95), axis=0) if len(mean) else (mean, mean)
    residual = (observed - mean) / np.maximum(sd, 1e-9)
    p_value = _tail(counts.replicated, counts.observed)
    order = np.lexsort((-np.abs(residual), p_value))[:worst_count]
    return TableCheck(
        name=name,
        ticket_count=float(observed.sum()),
        p_value=float((replicated >= real).mean()),
        entry_count=len(mean),
        surprising_count=int((p_value < SURPRISING).sum()),
        worst=tuple(
            Entry(counts.codes[at], *(float(v[at]) for v in (observed, mean, low, high, residual, p_value)))
            for at in order
        ),
    )


def _misfit(table: np.ndarray, expected: np.ndarray) -> np.ndarray:
    return np.asarray(((np.sqrt(table) - np.sqrt(expected)) ** 2).sum(-1))


def _tail(replicated: np.ndarray, observed: np.ndarray) -> np.ndarray:
    """(entry,) two-sided share of replicates at least as far off; ties count half."""
    tie = 0.5 * (replicated == observed).mean(0)
    return np.minimum(
        1.0, 2.0 * np.minimum((replicated < observed).mean(0) + tie, (replicated > observed).mean(0) + tie)
    )


def _count(posterior: Posterior, evidence: Evidence, rng: np.random.Generator) -> dict[str, _Counts]:
    """All tables in one walk over the contexts."""
    sizes, draws = posterior.draws.sizes, posterior.draw_count
    shapes = {name: (sizes[first], sizes[second]) for name, (first, second) in TABLES.items()}
    tables = {name: [np.zeros((draws, *shape)) for _ in range(3)] for name, shape in shapes.items()}
    for context in sort_tickets(posterior, evidence)[0]:
        chance = suspect_chances(posterior, context)
        for values in _count_context(posterior, context, chance, rng):
            for name, at in _places(posterior, context).items():
                for table, one in zip(tables[name], values, strict=True):
                    _add(table, at, one)
    return {name: _flatten(posterior, name, *tables[name]) for name in TABLES}


def _count_context(
    posterior: Posterior, context: Context, chance: np.ndarray, rng: np.random.Generator
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Observed, expected and replicated (draw, slot): of each grade of written suspects, then of unresolved tickets."""
    for _, seen in named_sightings(context):
        told = written_chances(posterior, context, seen[0], chance)
        observed = sum(one.likelihood * one.weight for one in seen)
        yield np.broadcast_to(observed, told.shape), *_expect(told, float(np.sum(observed)), rng)
    for one in context.sightings:
        if not is_named(one):
            yield _draw(chance * one.likelihood, one.weight, rng), *_expect(chance, one.weight, rng)


def _expect(chance: np.ndarray, count: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    return count * chance, _draw(chance, count, rng)


def _draw(chance: np.ndarray, count: float, rng: np.random.Generator) -> np.ndarray:
    """Counts (draw, slot); part of a ticket (one with two suspects) is drawn as a whole one as often as it weighs."""
    return rng.multinomial(int(count + rng.random()), chance / chance.sum(1, keepdims=True))


def _add(table: np.ndarray, at: tuple[Any, Any], values: np.ndarray) -> None:
    index: Any = (slice(None), *at)
    np.add.at(table, index, values)


def _places(posterior: Posterior, context: Context) -> dict[str, tuple[Any, Any]]:
    """Table -> where the context's suspects are counted in it; tables that need what it does not tell are left out."""
    links = posterior.links_by_symptom[context.symptom]
    suspect, mode = posterior.arrays["link_suspect"][links], posterior.arrays["link_mode"][links]
    places: dict[str, tuple[Any, Any]] = {"suspect_by_symptom": (context.symptom, suspect)}
    if context.age != NOT_GIVEN:
        places["mode_by_age"] = (mode, context.age)
    if context.shop != NOT_GIVEN:
        places["shop_by_mode"] = (context.shop, mode)
    return places


def _flatten(
    posterior: Posterior, name: str, observed: np.ndarray, expected: np.ndarray, replicated: np.ndarray
) -> _Counts:
    """Entries that can have tickets at all."""
    possible = expected.max(0) > 0
    first, second = (posterior.draws[dim].values.astype(str) for dim in TABLES[name])
    rows, columns = np.nonzero(possible)
    codes = tuple((str(first[row]), str(second[column])) for row, column in zip(rows, columns, strict=True))
    return _Counts(codes, observed[:, possible], expected[:, possible], replicated[:, possible])
