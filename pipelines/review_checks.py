"""Which checks fix most for the bench time they take, and whether first checks and repairs got better or worse."""

from datetime import date

import pandas as pd

from analytics.fix_rates import COUNTS, rate_checks
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.review_parts import Part
from pipelines.review_quarters import review_quarters
from pipelines.review_replays import review_replays
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import odds_phrase

QUESTION_FIX = "Which checks fix most for the bench time they take?"
QUESTION_FIND = "Which looks and measurements find most for the bench time they take?"
QUESTION_SYMPTOM = "Which check fixes most for each symptom?"
GONE = "no longer on the list"
# Columns of the tables; other modules draw them.
CHECK, KIND, SYMPTOM = "check", "kind", "symptom"
PER_HOUR, FINDS = "fixes per hour", "finds per hour"
LOW, HIGH, PLAIN = "from", "to", "plain count"
MADE, TICKETS, HITS, SETTLED = "made", "tickets", "hits", "settled"
SHARED = (
    "Estimates lend each other strength: a check made only a few times is drawn towards its kind, so that one lucky "
    "ticket tops no list. The plain count stands beside it.",
    "In nine cases of ten the true figure lies between 'from' and 'to'. A hit is a fault found or a cure. A check "
    "settles a ticket when it is the last one that found or cured anything and the ticket ended fixed. Bench "
    "time is that of the check alone, without opening and closing.",
)
LOOKS = (
    "A look or a measurement seldom settles a ticket, since the repair comes after it; it is judged by what it finds, "
    "false alarms included.",
)


def review_checks(settings: Settings, *, today: date) -> tuple[Part, ...]:  # noqa: ARG001 - every part has it
    """The figures about checks; InputError for a vocabulary that contradicts itself."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    with reading(settings.store_path) as con:
        counts = run_query(con, "review_checks")
    if counts.empty:
        return (Part(QUESTION_FIX, "No ticket says which checks were made, so nothing can be said.", counts),)
    counts = counts.assign(kind=[_kind(code, vocabulary) for code in counts["check"]])
    # a ticket has one main symptom, so counts of tickets add up too
    together = counts.groupby(["check", "kind"], sort=False)[list(COUNTS)].sum().reset_index()
    overall, by_symptom = rate_checks(together, group="kind"), rate_checks(counts, group="check")
    return (
        fixing_part(overall, vocabulary),
        finding_part(overall, vocabulary),
        symptom_part(by_symptom, vocabulary),
        review_replays(settings, vocabulary),
        *review_quarters(settings),
    )


def fixing_part(rated: pd.DataFrame, vocabulary: Vocabulary) -> Part:
    """Checks by fixes per bench hour.

    Parameters
    ----------
    rated : as `rate_checks` gives it, with check and kind
    """
    first = rated.iloc[0]
    finding = (
        f"'{check_name(first['check'], vocabulary)}': {say_rate(first, 'fixes_per_hour')} fixes per bench hour. "
        f"It settles {odds_phrase(first['settle'], first['settle_low'], first['settle_high'])} of the tickets on which "
        f"it is made ({int(first['settled']):,} of {int(first['tickets']):,})."
    )
    return Part(QUESTION_FIX, finding, _table(rated, vocabulary, PER_HOUR, "fixes_per_hour"), SHARED)


def finding_part(rated: pd.DataFrame, vocabulary: Vocabulary) -> Part:
    """Looks, measurements, split tests and swaps by finds per bench hour."""
    looks = rated[[not (c in vocabulary.checks and vocabulary.checks[c].is_remedy) for c in rated["check"]]]
    looks = looks.sort_values("hits_per_hour", ascending=False, kind="stable", ignore_index=True)
    if looks.empty:
        return Part(QUESTION_FIND, "No look or measurement is on any ticket.", pd.DataFrame())
    first = looks.iloc[0]
    finding = (
        f"'{check_name(first['check'], vocabulary)}': {say_rate(first, 'hits_per_hour')} finds per bench hour. It "
        f"finds something {odds_phrase(first['hit'], first['hit_low'], first['hit_high'])} times "
        f"({int(first['hits']):,} of {int(first['made']):,})."
    )
    return Part(QUESTION_FIND, finding, _table(looks, vocabulary, FINDS, "hits_per_hour"), LOOKS)


def symptom_part(rated: pd.DataFrame, vocabulary: Vocabulary) -> Part:
    """Checks on each symptom: first the best one of every symptom, those with most bench time first, then the second.

    Parameters
    ----------
    rated : as `rate_checks` gives it, with check, symptom and kind, most fixes per hour first
    """
    place = rated.groupby("symptom").cumcount() + 1
    spent = rated["symptom"].map(rated.groupby("symptom")["minutes"].sum())
    order = rated.assign(place=place, spent=spent)
    order = order.sort_values(["place", "spent", "symptom"], ascending=[True, False, True], kind="stable")
    table = _table(order, vocabulary, PER_HOUR, "fixes_per_hour")
    terms = vocabulary.symptoms
    table.insert(0, SYMPTOM, [terms[code].name if code in terms else code for code in order["symptom"]])
    table["place"] = order["place"].to_numpy()
    first = order.iloc[0]
    finding = (
        f"Most bench time goes into '{table[SYMPTOM].iloc[0]}'. There '{check_name(first['check'], vocabulary)}' fixes "
        f"most: {say_rate(first, 'fixes_per_hour')} per bench hour."
    )
    return Part(QUESTION_SYMPTOM, finding, table, SHARED[:1])


def say_rate(row: pd.Series, name: str) -> str:
    """A rate with its interval, "about 3.1 (between 2.5 and 3.8)"."""
    low, middle, high = (f"{row[column]:.2g}" for column in (f"{name}_low", name, f"{name}_high"))
    return f"about {middle} (between {low} and {high})" if low != high else f"about {middle}"


def check_name(code: str, vocabulary: Vocabulary) -> str:
    """The check in words; its code where it is no longer on the list."""
    return vocabulary.checks[code].name if code in vocabulary.checks else code


def _kind(code: str, vocabulary: Vocabulary) -> str:
    return vocabulary.checks[code].kind.replace("_", " ") if code in vocabulary.checks else GONE


def _table(rated: pd.DataFrame, vocabulary: Vocabulary, title: str, rate: str) -> pd.DataFrame:
    """The figures to read, a row a row of `rated`; `title` heads the column `rate`."""
    plain = rated["raw_fixes_per_hour"]
    if rate == "hits_per_hour":
        plain = 60.0 * rated["hits"] / rated["made"] * rated["timed"] / rated["minutes"].where(rated["minutes"] > 0)
    columns = {
        CHECK: [check_name(code, vocabulary) for code in rated["check"]],
        title: rated[rate].round(2),
        LOW: rated[f"{rate}_low"].round(2),
        HIGH: rated[f"{rate}_high"].round(2),
        PLAIN: plain.round(2),
        MADE: rated["made"],
        HITS: rated["hits"],
        SETTLED: rated["settled"],
        TICKETS: rated["tickets"],
        "settles (in 10)": (10 * rated["settle"]).round(1),
        "settles from": (10 * rated["settle_low"]).round(1),
        "settles to": (10 * rated["settle_high"]).round(1),
        "median (min)": rated["median_minutes"].round(1),
        "median from": rated["median_minutes_low"].round(1),
        "median to": rated["median_minutes_high"].round(1),
        "spent in all (min)": rated["minutes"].round(0),
        KIND: rated["kind"],
    }
    return pd.DataFrame(columns).reset_index(drop=True)
