"""Mean cumulative functions against published and elsewhere computed figures."""

import numpy as np

from analytics.recurrence import Recurrence, mean_cumulative

# Engine -> (days of valve-seat replacements, last day observed): W. Nelson, "Confidence limits for recurrence data -
# applied to cost or number of product repairs", Technometrics 37 (1995); data as in the R package reda.
VALVE_SEATS = [
    *(([], 761), ([], 759), ([98], 667), ([326, 653, 653], 667), ([], 665), ([84], 667), ([87], 663), ([646], 653)),
    *(([92], 653), ([], 651), ([258, 328, 377, 621], 650), ([61, 539], 648), ([254, 276, 298, 640], 644)),
    *(([76, 538], 642), ([635], 641), ([349, 404, 561], 649), ([], 631), ([], 596), ([120, 479], 614)),
    *(([323, 449], 582), ([139, 139], 589), ([], 593), ([573], 589), ([165, 408, 604], 606), ([249], 594)),
    *(([344, 497], 613), ([265, 586], 595), ([166, 206, 348], 389), ([], 601), ([410, 581], 601), ([], 611)),
    *(([], 608), ([], 587), ([367], 603), ([202, 563, 570], 585), ([], 587), ([], 578), ([], 578), ([], 586)),
    *(([], 585), ([], 582)),
]
# Day, at risk, events per engine, robust standard error: recomputed from these data with another program.
VALVE_SEAT_TABLE = [
    *((61, 41, 0.02439, 0.02409), (98, 41, 0.14634, 0.05520), (139, 41, 0.21951, 0.07327)),
    *((202, 41, 0.29268, 0.07899), (265, 41, 0.41463, 0.09110), (377, 41, 0.65854, 0.13184)),
    *((479, 40, 0.78354, 0.14607), (581, 38, 0.98485, 0.17120), (604, 22, 1.05972, 0.18506)),
    *((635, 16, 1.18104, 0.20691), (640, 16, 1.24354, 0.22632), (646, 13, 1.32047, 0.22851)),
    (653, 9, 1.54269, 0.31166),
]
# Events, then the end of observation: data set MCF_1 of the Python package reliability 0.9.0, and its mean function.
FIVE_SYSTEMS = [
    *(([5, 10, 15], 17), ([6, 13, 17], 19), ([12, 20, 25], 26), ([13, 15], 24), ([16, 22, 25], 28)),
]
FIVE_SYSTEMS_MEAN = {
    **{5: 0.2, 6: 0.4, 10: 0.6, 12: 0.8, 13: 1.2, 15: 1.6},
    **{16: 1.8, 17: 2.0, 20: 2.3333, 22: 2.6667, 25: 3.6667},
}


def count(records: list[tuple[list[int], int]]) -> Recurrence:
    machine = np.repeat(np.arange(len(records)), [len(events) for events, _ in records])
    times = np.array([day for events, _ in records for day in events], dtype=float)
    return mean_cumulative(machine, times, until=np.array([end for _, end in records], dtype=float))


def test_valve_seats_have_the_published_mean_and_robust_error() -> None:
    found = count(VALVE_SEATS)
    rows = [list(found.times).index(day) for day, *_ in VALVE_SEAT_TABLE]
    told = np.stack([found.at_risk, found.mean, found.standard_error], axis=1)[rows]
    assert np.allclose(told, [row[1:] for row in VALVE_SEAT_TABLE], atol=6e-6)
    low, high = found.interval(0.95)
    assert (low > 0).all()
    assert ((low < found.mean) & (found.mean < high)).all()


def test_five_systems_have_the_mean_another_program_gives() -> None:
    # that program adds up the variance step by step; ours is the robust one, which is smaller here
    found = count(FIVE_SYSTEMS)
    assert dict(zip(found.times, found.mean.round(4), strict=True)) == FIVE_SYSTEMS_MEAN
    assert abs(found.standard_error[0] ** 2 - 0.032) < 1e-12


def test_a_machine_counts_only_while_it_is_watched() -> None:
    # by hand: at 10 both are watched (1/2), at 30 only the second (1/1)
    found = mean_cumulative(
        np.array([0, 1]), np.array([10.0, 30.0]), until=np.array([20.0, 40.0]), since=np.array([0.0, 5.0])
    )
    assert found.mean.tolist() == [0.5, 1.5]
    assert found.at_risk.tolist() == [2, 1]
