"""What of each figure of the review is printed: a list with dots, a course, columns, or the first rows of its table."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import pandas as pd

from pipelines import (
    review_arrivals,
    review_checks,
    review_comebacks,
    review_failures,
    review_quarters,
    review_repeaters,
    review_shelf,
    review_wear,
)
from pipelines.review_drawing import Drawing, Point, draw_columns, draw_course
from pipelines.review_lists import Bar, draw_list
from pipelines.review_parts import Part

# What a committee reads in five minutes; `faultodds review --csv FOLDER` has the rest.
TOP_ROWS, TOP_COLUMNS, TABLE_ROWS = 4, 4, 3
LOW, HIGH = "from", "to"
TENS = 10.0
# Months of the past beside those to come.
PAST_MONTHS = 12
CHAPTERS = {
    "checks": "At the bench",
    "comebacks": "What comes back",
    "arrivals": "What comes in next",
    "shelf": "On the shelf",
    "donor": "Donor machines",
    "club": "The club",
}
# Said in another figure already, or too long for paper.
NOT_PRINTED = {
    review_comebacks.QUESTION_REMEDIES: f"'{review_comebacks.QUESTION_PAIRS}' says it finer",
    review_comebacks.QUESTION_SUSPECTS: f"'{review_comebacks.QUESTION_PAIRS}' says it finer",
}

type Draw = Callable[[float], Drawing]


@dataclass(frozen=True)
class Figure:
    """One figure in words: a drawing for a width in millimetres, or a table; `is_number` columns stand to the right."""

    question: str
    finding: str
    draw: Draw | None = None
    header: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    is_number: tuple[bool, ...] = ()


def figure_of(part: Part) -> Figure:
    """The figure, drawn where a picture says more than rows."""
    how = _PICTURES.get(part.question)
    drawn = how(part.table) if how is not None and len(part.table) else None
    if drawn is not None:
        return Figure(part.question, part.finding, drawn)
    joined, is_number = _joined(part.table[_COLUMNS.get(part.question, list(part.table.columns))])
    rows = joined.iloc[:TABLE_ROWS, :TOP_COLUMNS]
    return Figure(
        part.question,
        part.finding,
        header=tuple(map(str, rows.columns)),
        rows=tuple(tuple(map(str, row)) for row in rows.itertuples(index=False)),
        is_number=is_number[:TOP_COLUMNS],
    )


def say_figure(value: object) -> str:
    """A cell as it is printed: no more digits than count."""
    if pd.isna(value):
        return ""
    if isinstance(value, float):
        return f"{value:,.0f}" if abs(value) >= 100 or value == round(value) else f"{value:.2g}"
    return f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else str(value)


def say_range(value: float, low: float, high: float) -> str:
    """An estimate with both ends, "14 (13 to 15)"."""
    told, low_told, high_told = (say_figure(float(one)) for one in (value, low, high))
    return f"{told} ({low_told} to {high_told})" if low_told != high_told else told


def _joined(table: pd.DataFrame) -> tuple[pd.DataFrame, tuple[bool, ...]]:
    """The table in words, an estimate and both its ends in one column."""
    names, columns = list(map(str, table.columns)), {}
    kinds: list[bool] = []
    for at, name in enumerate(names):
        if name in (LOW, HIGH):
            continue
        values = table[name]
        is_number = pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values)
        if names[at + 1 : at + 3] == [LOW, HIGH]:
            cells = [say_range(*row) for row in table[[name, LOW, HIGH]].itertuples(index=False)]
        else:
            cells = [say_figure(value) for value in values.head(TABLE_ROWS)]
        columns[name] = cells[:TABLE_ROWS]
        kinds.append(is_number)
    return pd.DataFrame(columns), tuple(kinds)


def _listed(
    table: pd.DataFrame, names: tuple[str, ...], value: str, unit: str, counts: tuple[str, str], most: float = 0.0
) -> Draw:
    """The first rows as a list; `counts` are the column (or two, "a/b", said as "a of b") and its heading."""
    bars = [
        Bar(
            names=tuple(str(row[name]) for name in names),
            value=float(row[value]),
            low=float(row[LOW]),
            high=float(row[HIGH]),
            phrase=say_range(row[value], row[LOW], row[HIGH]),
            beside=" of ".join(say_figure(row[name]) for name in counts[0].split("/")),
        )
        for _, row in table.head(TOP_ROWS).iterrows()
    ]
    return partial(draw_list, bars, (unit, counts[1]), most=most)


def _expected(table: pd.DataFrame, names: tuple[str, ...]) -> Draw:
    """Tickets to come; the last column counts those of so many months."""
    so_far = str(table.columns[-1])
    unit = "tickets expected"
    return _listed(table, names, review_arrivals.EXPECTED, unit, (so_far, so_far.replace("the last ", "")))


def _quarters(table: pd.DataFrame, value: str, unit: str) -> Draw | None:
    """The course from quarter to quarter; the table has the newest one first."""
    told = table[::-1].dropna(subset=[value])
    rows = told[[review_quarters.QUARTER, value, LOW, HIGH]].itertuples(index=False, name=None)
    points = [
        Point(name[:4] if name.endswith("Q1") else "", float(middle), float(low), float(high))
        for name, middle, low, high in rows
    ]
    return partial(draw_course, points, unit) if len(points) >= review_quarters.FEW_QUARTERS else None


def _ages(table: pd.DataFrame) -> Draw:
    columns = [review_wear.AGE, review_wear.VISITS, review_wear.LOW, review_wear.HIGH]
    points = [
        Point(f"{age}" if age % 5 == 0 else "", float(value), float(low), float(high))
        for age, value, low, high in table[columns].itertuples(index=False, name=None)
    ]
    return partial(draw_course, points, "visits of a machine so far, by its age in years")


def _months(table: pd.DataFrame) -> Draw | None:
    """The newest months as they were, then those to come."""
    told = table[table[review_arrivals.MONTH].str.len() == len("2026-01")]
    ahead = told[told[review_arrivals.TICKETS].isna()].sort_values(review_arrivals.MONTH)
    past = told[told[review_arrivals.TICKETS].notna()].sort_values(review_arrivals.MONTH).tail(PAST_MONTHS)
    points = [
        Point(_month(name), *(float(count),) * 3, is_before=True)
        for name, count in past[[review_arrivals.MONTH, review_arrivals.TICKETS]].itertuples(index=False, name=None)
    ]
    columns = [review_arrivals.MONTH, review_arrivals.EXPECTED, LOW, HIGH]
    points += [
        Point(_month(name), float(value), float(low), float(high))
        for name, value, low, high in ahead[columns].itertuples(index=False, name=None)
    ]
    return partial(draw_columns, points, "tickets a month: so far (brown), and expected (blue)") if points else None


def _season(table: pd.DataFrame) -> Draw:
    order = list(pd.date_range("2001-01-01", periods=12, freq="MS").strftime("%B"))
    told = table.set_index(review_arrivals.MONTH).reindex(order).dropna().reset_index()
    columns = [review_arrivals.MONTH, review_arrivals.FACTOR, LOW, HIGH]
    points = [
        Point(name[:3], float(factor), float(low), float(high))
        for name, factor, low, high in told[columns].itertuples(index=False, name=None)
    ]
    return partial(draw_columns, points, "times a usual month")


def _years(table: pd.DataFrame) -> Draw:
    points = [
        Point(f"{year}{'' if months == 12 else '*'}", *(float(count),) * 3, is_before=True)
        for year, months, count in table[::-1][["year", "months", "tickets"]].itertuples(index=False, name=None)
    ]
    return partial(draw_columns, points, "tickets a year (* not twelve months)")


def _month(told: str) -> str:
    return pd.Timestamp(f"{told}-01").strftime("%b %y")


# Of a table that is printed as it is, the columns that answer the question.
_COLUMNS = {
    review_repeaters.QUESTION_TRENDS: [
        review_repeaters.MACHINE, review_repeaters.SHOP, "tickets", review_repeaters.WORSE
    ],
    review_shelf.QUESTION_MISSING: ["part", "missing"],
}  # fmt: skip
_CHECK, _MADE, _HITS = review_checks.CHECK, review_checks.MADE, review_checks.HITS
_TRIES = (f"{_HITS}/{_MADE}", "hits of tries")
_PICTURES: Mapping[str, Callable[[pd.DataFrame], Draw | None]] = {
    review_checks.QUESTION_FIX: lambda t: _listed(
        t, (_CHECK,), review_checks.PER_HOUR, "fixes per bench hour", _TRIES
    ),
    review_checks.QUESTION_FIND: lambda t: _listed(t, (_CHECK,), review_checks.FINDS, "finds per bench hour", _TRIES),
    review_checks.QUESTION_SYMPTOM: lambda t: _listed(
        t, (review_checks.SYMPTOM, _CHECK), review_checks.PER_HOUR, "fixes per bench hour", _TRIES
    ),
    review_quarters.QUESTION_FIRST: lambda t: _quarters(t, review_quarters.TENS, "first checks that hit, of ten"),
    review_quarters.QUESTION_MINUTES: lambda t: _quarters(t, review_quarters.MIDDLE, "usual minutes of a repair"),
    review_comebacks.QUESTION_PAIRS: lambda t: _listed(
        t,
        (review_comebacks.REMEDY, review_comebacks.SUSPECT),
        "holds 365 days",
        "hold a year, of ten",
        (review_comebacks.REPAIRS, "repairs"),
        TENS,
    ),
    review_repeaters.QUESTION_REPEATERS: lambda t: _listed(
        t, (review_repeaters.MACHINE, review_repeaters.SHOP), review_repeaters.RATE, "visits a year",
        ("tickets", "tickets"),
    ),
    review_wear.QUESTION: _ages,
    review_failures.QUESTION: lambda t: _listed(
        t, (review_failures.COMPONENT,), review_failures.RATE, "in 100 machine-years",
        (review_failures.FAILURES, "failures seen"),
    ),
    review_arrivals.QUESTION_LOAD: _months,
    review_arrivals.QUESTION_FAMILIES: lambda t: _expected(t, ("family",)),
    review_arrivals.QUESTION_KINDS: lambda t: _expected(t, ("symptom", "family")),
    review_arrivals.QUESTION_SEASON: _season,
    review_arrivals.QUESTION_TREND: _years,
    review_shelf.QUESTION_USES: lambda t: _listed(
        t, ("part",), "uses a year", "uses a year", ("used (tickets)", "tickets")
    ),
    review_shelf.QUESTION_SWAPS: lambda t: _listed(
        t, (review_shelf.SWAP,), review_shelf.SAVED, "bench minutes a year", (review_shelf.USES, "times a year")
    ),
}  # fmt: skip
