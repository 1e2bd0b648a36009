"""Whether a repair holds: the chance that a machine stays away for 30, 90 and 365 days, raw and pooled."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.pooled_rates import PooledRates, pool_rates

HORIZONS = (30, 90, 365)
# Days since the repair, both ends of each band; the hazard is constant inside one.
BAND_EDGES = (0.0, 30.0, 90.0, 365.0, np.inf)
INTERVAL = 0.9
# How a repair ended: the same suspect was confirmed again, another one was, nobody found out; or it still held when
# the records end. The machine came back with the same symptom in the first three.
SAME, OTHER, UNKNOWN, HELD = "same", "other", "unknown", "held"


@dataclass(frozen=True, eq=False)
class BandCounts:
    """Comebacks counted against the repair, (cell, band), and days under watch, (cell, band)."""

    failures: np.ndarray
    days: np.ndarray


def count_bands(spells: pd.DataFrame, cell: np.ndarray) -> BandCounts:
    """Failures and exposure by time band.

    A comeback with another suspect is no failure of the repair (the diagnosis was wrong, or something else broke): it
    ends the watch. One whose suspect nobody confirmed counts as the share that `SAME` has among the confirmed ones.

    Parameters
    ----------
    spells : frame of counted repairs: days (watched), ending (`SAME`, `OTHER`, `UNKNOWN`, `HELD`), repairs
    cell : (row,) number of the cell each row belongs to, from 0
    """
    days = spells["days"].to_numpy(dtype=float)
    repairs, ending = spells["repairs"].to_numpy(dtype=float), spells["ending"].to_numpy()
    failed = repairs * np.select([ending == SAME, ending == UNKNOWN], [1.0, same_share(spells)], 0.0)
    edges, count = np.array(BAND_EDGES), int(cell.max()) + 1
    band = np.searchsorted(edges, days, side="left").clip(min=1) - 1
    failures = np.bincount(cell * (len(edges) - 1) + band, weights=failed, minlength=count * (len(edges) - 1))
    inside = np.clip(days[:, None], edges[:-1], edges[1:]) - edges[:-1]
    watched = [np.bincount(cell, weights=repairs * part, minlength=count) for part in inside.T]
    return BandCounts(failures.reshape(count, -1), np.stack(watched, axis=1))


def same_share(spells: pd.DataFrame) -> float:
    """Share of the confirmed comebacks that had the same suspect again; one half with none."""
    by_ending = spells.groupby("ending")["repairs"].sum()
    same, other = float(by_ending.get(SAME, 0)), float(by_ending.get(OTHER, 0))
    return same / (same + other) if same + other else 0.5


def estimate_holds(counts: BandCounts, group: Sequence[str] | np.ndarray) -> pd.DataFrame:
    """P(a repair holds) by cell, each drawn towards its group and the groups towards all.

    All cells share the shape of the hazard over the bands; a cell multiplies it. With h the overall hazards (failures /
    days of each band), a cell expects sum h * days failures, and its factor is pooled by `pool_rates`. Then
    P(holds t days) = exp(-factor * H(t)), H(t) the sum of h over the days up to t: the piecewise exponential model
    (M. Friedman, "Piecewise exponential models for survival data with covariates", Annals of Statistics 10, 1982).
    What is not known of the shape widens the intervals: the share of H(365) that falls before t is known from n_t of n
    failures, so its relative variance is taken as 1 / n_t - 1 / n.

    Parameters
    ----------
    counts : failures and days by cell and band
    group : (cell,) name of the group of each cell

    Returns
    -------
    Frame by cell: failures, days, and for each t of `HORIZONS` holds_t, holds_t_low, holds_t_high (90 %).
    """
    total = counts.failures.sum(0)
    # a band in which nothing failed yet is not one in which nothing can
    hazard = (total + 1.0 / len(total)) / np.maximum(counts.days.sum(0), 1.0)
    year = slice(0, len(HORIZONS))  # what fails later says nothing about the first year
    factors = pool_rates(counts.failures[:, year].sum(1), counts.days[:, year] @ hazard[year] + 1e-9, group)
    widths = np.diff(BAND_EDGES[: len(HORIZONS) + 1])
    columns = {"failures": counts.failures[:, year].sum(1), "days": counts.days[:, year].sum(1)}
    for at, horizon in enumerate(HORIZONS, start=1):
        before, all_year = max(total[:at].sum(), 1.0), max(total[year].sum(), 1.0)
        columns |= _hold_columns(
            factors.blurred(max(0.0, 1.0 / before - 1.0 / all_year)), float(hazard[:at] @ widths[:at]), horizon
        )
    return pd.DataFrame(columns)


def raw_holds(spells: pd.DataFrame, horizons: Sequence[int] = HORIZONS) -> np.ndarray:
    """(horizon,) Kaplan-Meier share that holds: `SAME` and `UNKNOWN` comebacks fail, the others end the watch.

    Kaplan and Meier, "Nonparametric estimation from incomplete observations", JASA 53 (1958). A machine whose watch
    ends on the day of a comeback counts as watched on that day.
    """
    failed = spells["ending"].isin([SAME, UNKNOWN]).to_numpy()
    repairs = spells["repairs"].to_numpy(dtype=float)
    days, place = np.unique(spells["days"].to_numpy(dtype=float), return_inverse=True)
    watched = np.bincount(place, weights=repairs)[::-1].cumsum()[::-1]
    holds = np.cumprod(1.0 - np.bincount(place, weights=repairs * failed) / watched)
    # nothing failed before the first day
    return np.concatenate([[1.0], holds])[np.searchsorted(days, horizons, side="right")]


def _hold_columns(factors: PooledRates, cumulative: float, horizon: int) -> dict[str, np.ndarray]:
    """Mean of exp(-factor H) over each gamma of the mixture, and quantiles (many failures = small share)."""
    tail = (1.0 - INTERVAL) / 2.0
    mean = (factors.weight * (1.0 + cumulative / factors.inverse_scale) ** -factors.shape).sum(1)
    return {
        f"holds_{horizon}": mean,
        f"holds_{horizon}_low": np.exp(-cumulative * factors.quantile(1.0 - tail)),
        f"holds_{horizon}_high": np.exp(-cumulative * factors.quantile(tail)),
    }
