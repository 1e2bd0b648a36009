"""How often things come back on average: the mean cumulative function of events per machine, by age or by days."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm


@dataclass(frozen=True, eq=False)
class Recurrence:
    """Mean cumulative function at the times at which something happened.

    Parameters
    ----------
    times : (time,) distinct event times, rising
    at_risk : (time,) machines under observation then
    events : (time,) events then
    mean : (time,) events per machine up to and including that time
    standard_error : (time,) robust standard error of `mean`
    """

    times: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray
    mean: np.ndarray
    standard_error: np.ndarray

    def interval(self, probability: float) -> np.ndarray:
        """(2, time) interval of `mean`, normal on the log scale so that it stays above 0."""
        spread = norm.ppf((1.0 + probability) / 2.0) * self.standard_error / self.mean
        return np.stack([self.mean * np.exp(-spread), self.mean * np.exp(spread)])


def mean_cumulative(
    machine: np.ndarray, time: np.ndarray, *, until: np.ndarray, since: np.ndarray | None = None
) -> Recurrence:
    """Events per machine up to each time, with the robust standard error.

    mean(t) = sum of events(s) / at_risk(s) over event times s <= t. Its variance is the sum over machines i of the
    square of sum over s <= t of [i at risk at s] / at_risk(s) * (events of i at s - events(s) / at_risk(s)).

    Parameters
    ----------
    machine, time : (event,) position of the machine, and when; any unit
    until : (machine,) end of observation. Events come before endings: a machine whose observation ends at t is still
        at risk at t.
    since : (machine,) begin of observation, itself included; None when all are watched from the start

    Notes
    -----
    W. Nelson, "Confidence limits for recurrence data - applied to cost or number of product repairs", Technometrics 37
    (1995); J. F. Lawless and C. Nadeau, "Some simple robust methods for the analysis of recurrent events",
    Technometrics 37 (1995). Formulas from memory; the tests compare with figures worked out elsewhere.
    """
    times, at_time = np.unique(time, return_inverse=True)
    begin = np.full(len(until), -np.inf) if since is None else since
    residual = np.zeros(len(until))
    at_risk, events, variance = (np.zeros(len(times)) for _ in range(3))
    order = np.argsort(at_time, kind="stable")
    groups = np.split(machine[order], np.searchsorted(at_time[order], np.arange(1, len(times))))[: len(times)]
    for at, (now, hit) in enumerate(zip(times, groups, strict=True)):
        watched = (begin <= now) & (now <= until)
        at_risk[at], events[at] = watched.sum(), len(hit)
        own = np.bincount(hit, minlength=len(until))
        residual += watched * (own - events[at] / at_risk[at]) / at_risk[at]
        variance[at] = residual @ residual
    return Recurrence(times, at_risk, events, (events / at_risk).cumsum(), np.sqrt(variance))
