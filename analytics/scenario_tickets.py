"""Simulated tickets: arrivals, repairs, what is written down about them, and machines that come back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.scenario import World
from analytics.scenario_arrivals import PERIOD, draw_arrivals, draw_suspects
from analytics.scenario_bench import Bench, Work, access_minutes, make_benches, work_on
from analytics.scenario_complaints import complain
from analytics.vocabulary import CONFIRMATIONS

# All numbers below belong to the invented world; none is measured.
COMEBACK_DAYS = 365  # a machine that holds longer comes in as an ordinary ticket again
GRADE_SHARES = (0.55, 0.33, 0.12)  # of `CONFIRMATIONS`
ELSEWHERE_FOUND = 0.6  # P(a fault outside the list is found in the end)
ELSEWHERE_MINUTES = 45.0
RESULT_SHARES: Mapping[str, float] = {"not_fixed": 0.6, "handed_on": 0.3, "no_fault_found": 0.1}
LOOKED_FOR_SHARES = (0.7, 0.22, 0.08)  # P(0, 1, 2 other symptoms were looked for)
WAITING_DAYS, WAITING_SPREAD = 4.0, 1.0  # median, sd of log days from opened to closed


@dataclass(frozen=True, eq=False)
class History:
    """Simulated tickets.

    Parameters
    ----------
    tickets : frame in the order opened: ticket (from 1), shop, machine, family, built_year, opened_on, closed_on,
        symptom, others ("symptom=present;symptom=absent"), complaint, true_suspect, suspect (as written, "" when
        unresolved), confirmation ("" when unresolved), result, minutes (whole repair), comeback_of (ticket or 0)
    checks : frame: ticket, position (from 1), check, outcome, minutes
    """

    tickets: pd.DataFrame
    checks: pd.DataFrame


@dataclass(frozen=True, eq=False)
class _Arrival:
    """Positions of what came in; `slot` is the true suspect; `before` the repair that did not hold, or -1."""

    shop: int
    family: int
    symptom: int
    machine: int
    slot: int
    opened_on: int
    before: int


@dataclass(frozen=True, eq=False)
class _Repair:
    """One repair as it went: minutes of each check, the slot written down (-1: none), grade, result, day closed."""

    arrival: _Arrival
    work: Work
    check_minutes: np.ndarray
    other_minutes: float
    written: int
    grade: int
    result: str
    closed_on: int
    others: str
    complaint: str


def simulate_tickets(
    world: World,
    rng: np.random.Generator,
    *,
    count: int,
    phrases: Mapping[str, Sequence[str]],
    period: tuple[date, date] = PERIOD,
) -> History:
    """A history of `count` ordinary tickets and the comebacks that follow from them.

    The true suspect of an ordinary ticket has the odds of `suspect_probabilities`; a comeback has the suspect it had
    before. A ticket that ends cured names its true suspect, or a guess (`World.misrecording`), or, after a lucky
    remedy, what that remedy is for.

    Parameters
    ----------
    phrases : symptom or suspect -> ways an owner says it; a symptom without any is told by its name
    period : first and last day on which a ticket is opened
    """
    drawn = draw_arrivals(world, rng, count=count, period=period)
    columns = (drawn.shop, drawn.family, drawn.symptom, drawn.machine, draw_suspects(world, rng, drawn))
    days, end = drawn.opened_on.astype(int), int(np.datetime64(period[1]).astype(int))
    waiting = [_Arrival(*map(int, (*row, -1))) for row in zip(*columns, days, strict=True)]
    benches = tuple(make_benches(world).values())
    repairs: list[_Repair] = []
    for arrival in waiting:  # grows while it is walked: a repair that does not hold brings the machine back
        repair = _repair(world, arrival, benches[arrival.symptom], rng, phrases=phrases)
        back_on = _comes_back_on(world, repair, benches[arrival.symptom], rng)
        if back_on <= end:
            again = (arrival.shop, arrival.family, arrival.symptom, arrival.machine, arrival.slot)
            waiting.append(_Arrival(*again, opened_on=int(back_on), before=len(repairs)))
        repairs.append(repair)
    return _make_history(world, repairs, benches, end)


def _repair(
    world: World, arrival: _Arrival, bench: Bench, rng: np.random.Generator, *, phrases: Mapping[str, Sequence[str]]
) -> _Repair:
    work = work_on(bench, arrival.slot, rng, habit=world.familiarity[arrival.shop], give_up=world.spreads.give_up)
    codes = tuple(world.vocabulary.suspects_by_symptom.values())[arrival.symptom]
    written, grade = _write_suspect(world, arrival, bench, work, rng=rng)
    done = bench.check[[at for at, _ in work.steps]]
    names = list(world.vocabulary.checks.values())
    access = access_minutes(world.vocabulary, frozenset(names[at].access_group for at in done))
    found_elsewhere = work.cured_by < 0 <= written
    return _Repair(
        arrival=arrival,
        work=work,
        check_minutes=np.round(world.check_minutes[done] * rng.lognormal(0.0, world.minutes_spread, len(done)), 1),
        other_minutes=access
        + (ELSEWHERE_MINUTES * rng.lognormal(0.0, world.minutes_spread) if found_elsewhere else 0.0),
        written=written,
        grade=grade,
        result="fixed" if written >= 0 else str(rng.choice(list(RESULT_SHARES), p=list(RESULT_SHARES.values()))),
        closed_on=arrival.opened_on + int(rng.lognormal(np.log(WAITING_DAYS), WAITING_SPREAD)),
        others=_look_for_others(world, arrival, codes[arrival.slot], rng),
        complaint=complain(world.vocabulary, phrases, rng, symptom=arrival.symptom, slot=arrival.slot),
    )


def _write_suspect(
    world: World, arrival: _Arrival, bench: Bench, work: Work, *, rng: np.random.Generator
) -> tuple[int, int]:
    """(slot written down, grade of confirmation), or (-1, -1) for a ticket that stays unresolved."""
    other = len(bench.ease) - 1
    if work.cured_by < 0:
        found = arrival.slot == other and rng.random() < ELSEWHERE_FOUND
        return (other, CONFIRMATIONS.index("cured")) if found else (-1, -1)
    if not bench.treats[work.cured_by, arrival.slot]:
        return int(bench.treats[work.cured_by].argmax()), CONFIRMATIONS.index("symptom_went_away")
    grade = int(rng.choice(len(CONFIRMATIONS), p=GRADE_SHARES))
    if rng.random() < world.misrecording[arrival.shop, grade]:
        return int(rng.choice(len(bench.ease), p=bench.ease)), grade
    return arrival.slot, grade


def _look_for_others(world: World, arrival: _Arrival, suspect: str, rng: np.random.Generator) -> str:
    """Other symptoms of the family that were looked for: "symptom=present;symptom=absent"."""
    known = np.flatnonzero(world.arrivals[arrival.shop, arrival.family])
    known = known[known != arrival.symptom]
    count = min(len(known), int(rng.choice(len(LOOKED_FOR_SHARES), p=LOOKED_FOR_SHARES)))
    chance = world.companions[list(world.vocabulary.suspects).index(suspect)]
    names = list(world.vocabulary.symptoms)
    looked = rng.permutation(known)[:count]
    return ";".join(f"{names[at]}={'present' if rng.random() < chance[at] else 'absent'}" for at in looked)


def _comes_back_on(world: World, repair: _Repair, bench: Bench, rng: np.random.Generator) -> float:
    """Day number on which the repair fails; infinity when it holds for `COMEBACK_DAYS` or nothing was repaired.

    A chance p within 365 days at a constant hazard is a rate of -log(1 - p) / 365 per day.
    """
    if repair.work.cured_by < 0:
        return np.inf
    suspects = list(world.vocabulary.suspects)
    codes = tuple(world.vocabulary.suspects_by_symptom.values())[repair.arrival.symptom]
    at = (bench.check[repair.work.cured_by], suspects.index(codes[repair.arrival.slot]))
    days = rng.exponential() * 365.0 / max(1e-12, -np.log1p(-world.fails_within_year[at]))
    return repair.closed_on + 1 + int(days) if days < COMEBACK_DAYS else np.inf


def _make_history(world: World, repairs: list[_Repair], benches: tuple[Bench, ...], end: int) -> History:
    """Repairs as frames; what was still open on the last day (day number `end`) is closed then."""
    opened = np.array([repair.arrival.opened_on for repair in repairs])
    order = np.argsort(opened, kind="stable")
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(1, len(order) + 1)
    tickets = pd.DataFrame([_ticket_row(world, repair, number, end) for repair in repairs])
    tickets.insert(0, "ticket", number)
    for column in ("opened_on", "closed_on"):
        tickets[column] = tickets[column].to_numpy().astype("datetime64[D]").astype("datetime64[s]")
    checks = list(world.vocabulary.checks)
    rows = [
        (number[at], position, checks[benches[repair.arrival.symptom].check[step]], outcome, minutes)
        for at, repair in enumerate(repairs)
        for position, ((step, outcome), minutes) in enumerate(
            zip(repair.work.steps, repair.check_minutes, strict=True), start=1
        )
    ]
    frame = pd.DataFrame(rows, columns=["ticket", "position", "check", "outcome", "minutes"])
    return History(
        tickets=tickets.sort_values("ticket", ignore_index=True),
        checks=frame.sort_values(["ticket", "position"], ignore_index=True),
    )


def _ticket_row(world: World, repair: _Repair, number: np.ndarray, end: int) -> dict[str, object]:
    arrival, vocabulary = repair.arrival, world.vocabulary
    symptom, codes = list(vocabulary.suspects_by_symptom.items())[arrival.symptom]
    return {
        "shop": world.shops[arrival.shop],
        "machine": world.machines["machine"].iloc[arrival.machine],
        "family": list(vocabulary.families)[arrival.family],
        "built_year": world.machines["built_year"].iloc[arrival.machine],
        "opened_on": arrival.opened_on,
        "closed_on": min(repair.closed_on, end),
        "symptom": symptom,
        "others": repair.others,
        "complaint": repair.complaint,
        "true_suspect": codes[arrival.slot],
        "suspect": codes[repair.written] if repair.written >= 0 else "",
        "confirmation": CONFIRMATIONS[repair.grade] if repair.grade >= 0 else "",
        "result": repair.result,
        "minutes": round(repair.check_minutes.sum() + repair.other_minutes, 0),
        "comeback_of": number[arrival.before] if arrival.before >= 0 else 0,
    }
