"""What counts tell about checks, before any fit."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.check_likelihood import score_minutes
from analytics.check_rates import count_check_table, minutes_precision, rate_precisions
from analytics.evidence import Evidence, empty_evidence
from analytics.vocabulary import Vocabulary


def _timed(minutes: list[float]) -> Evidence:
    logs = np.log(minutes)
    row = {"check": "meter_coil", "count": float(len(logs)), "log_sum": logs.sum(), "log_square_sum": (logs**2).sum()}
    return replace(empty_evidence(), check_minutes=pd.DataFrame([row]))


def test_equal_minutes_tell_no_more_than_rounding_leaves(tiny_vocabulary: Vocabulary) -> None:
    table = count_check_table(_timed([5.0] * 30), tiny_vocabulary)
    # five usual ones of variance 0.25 beside 30 of none, and a tenth squared for the rounding of each
    assert minutes_precision(table).max() == pytest.approx(30 / (5 * 0.25 / 35 + 0.01))
    counted = (table.minutes_count, table.log_minutes_sum, table.log_minutes_square)
    at = np.full(len(table.checks), np.log(5.0))
    # 30 times the log density of a normal of sd 0.1 at its mean, without its constant: it has a top
    assert score_minutes(at, 0.0, counted)[0] == pytest.approx(-30 * np.log(0.1))


def test_minutes_that_scatter_are_counted_as_they_are(tiny_vocabulary: Vocabulary) -> None:
    table = count_check_table(_timed([2.0, 5.0, 10.0]), tiny_vocabulary)
    # five usual ones of variance 0.25 beside these three
    around = np.var(np.log([2.0, 5.0, 10.0])) * 3
    assert minutes_precision(table).max() == pytest.approx(3 / ((1.25 + around) / 8 + 0.01))


def test_a_rare_outcome_tells_less_of_its_rate_than_an_even_one(tiny_vocabulary: Vocabulary) -> None:
    counts = pd.DataFrame(
        [("meter_coil", "plug_loose", "clear", 90.0)], columns=["check", "suspect", "outcome", "count"]
    )
    table = count_check_table(replace(empty_evidence(), check_counts=counts), tiny_vocabulary)
    # none in 90, beside 0.03 seeded as worth ten tickets: p = 0.3 / 100, and Fisher information 90 p (1 - p)
    at = table.checks.index("meter_coil")
    assert rate_precisions(table)["false_alarm"][at] == pytest.approx(90 * 0.003 * 0.997)
