"""Which checks fix most: odds of settling the ticket, minutes spent, and fixes per hour of bench time."""

import numpy as np
import pandas as pd
from scipy.special import betaincinv, ndtri

from analytics.shared_minutes import SharedMinutes, share_minutes
from analytics.shared_rates import SharedRates, share_rates

LEVEL = 0.9
# Points at which each of the two uncertain figures of a ratio is read off: 1,600 pairs, no random numbers.
_POINTS = (np.arange(40) + 0.5) / 40.0
COUNTS = ("made", "tickets", "hits", "settled", "timed", "log_sum", "log_square_sum", "minutes")


def rate_checks(counts: pd.DataFrame, *, group: str) -> pd.DataFrame:
    """The counts with estimates beside them, most fixes per hour first.

    Parameters
    ----------
    counts : a row a check (or a check on one symptom): `COUNTS` (made = times made, tickets = on how many, hits = found
        or cured, settled = the last hit on a fixed ticket, timed = times with minutes, log_sum and log_square_sum of
        those, minutes in all) and the column `group`
    group : column whose like values lend each other strength

    Returns
    -------
    pandas.DataFrame
        `counts` with hit, settle (shares), median_minutes, fixes_per_hour, hits_per_hour, each with _low and _high
        (90 %), and raw_fixes_per_hour (none where no minutes were written down)

    Notes
    -----
    Fixes per hour = 60 x P(settles the ticket) / (mean minutes of one time x times made on a ticket); shares as in
    `share_rates`, minutes as in `share_minutes`, held to be independent of each other. P(settles) is counted by
    ticket: tries of one remedy on one machine fail together. Tickets are held independent; comebacks of one machine are
    not quite, which in the demo makes the true scatter a tenth wider.
    """
    codes = pd.factorize(counts[group])[0]
    tries = counts["made"].to_numpy(dtype=float)
    hits = share_rates(counts["hits"].to_numpy(dtype=float), tries, codes)
    tickets = counts["tickets"].to_numpy(dtype=float)
    settled = share_rates(counts["settled"].to_numpy(dtype=float), tickets, codes)
    timed, log_sum, square_sum = (counts[name].to_numpy(dtype=float) for name in COUNTS[4:7])
    minutes = share_minutes(timed, log_sum, square_sum, codes)
    columns = {
        **_with_ends("hit", (hits.mean, *hits.interval(LEVEL))),
        **_with_ends("settle", (settled.mean, *settled.interval(LEVEL))),
        **_with_ends("median_minutes", minutes.median_interval(LEVEL)),
        **_with_ends("fixes_per_hour", per_hour(settled, minutes, times=tries / tickets)),
        **_with_ends("hits_per_hour", per_hour(hits, minutes, times=np.ones(len(tries)))),
        "raw_fixes_per_hour": raw_fixes_per_hour(counts),
    }
    rated = counts.assign(**columns)
    return rated.sort_values("fixes_per_hour", ascending=False, kind="stable", ignore_index=True)


def per_hour(
    rates: SharedRates, minutes: SharedMinutes, *, times: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Expected successes per bench hour and both ends of the 90 % interval, (unit,) each.

    Parameters
    ----------
    times : how often one try of `rates` takes the minutes, (unit,)
    """
    middle, variance = minutes.log_mean
    middle = middle + np.log(times)
    expected = 60.0 * rates.mean * np.exp(-middle + variance / 2.0)
    share = betaincinv(rates.a[:, None], rates.b[:, None], _POINTS)
    slowness = np.exp(-middle[:, None] + np.sqrt(variance)[:, None] * ndtri(_POINTS))
    pairs = 60.0 * share[:, :, None] * slowness[:, None, :]
    tail = (1.0 - LEVEL) / 2.0
    low, high = np.quantile(pairs.reshape(len(expected), pairs[0].size if len(pairs) else 0), (tail, 1 - tail), axis=1)
    return expected, low, high


def raw_fixes_per_hour(counts: pd.DataFrame) -> pd.Series:
    """Settled tickets per hour, by plain counts: settled over times made, over the mean of the minutes written down."""
    timed = counts["timed"].where(counts["timed"] > 0)
    return 60.0 * (counts["settled"] / counts["made"]) / (counts["minutes"] / timed)


def _with_ends(name: str, values: tuple[np.ndarray, np.ndarray, np.ndarray]) -> dict[str, np.ndarray]:
    return dict(zip((name, f"{name}_low", f"{name}_high"), values, strict=True))
