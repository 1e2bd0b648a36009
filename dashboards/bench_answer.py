"""An answer turned into what the Bench page shows: frames for its charts, sentences, what there is to open."""

from collections.abc import Sequence

import pandas as pd

from analytics.advice import Advice
from analytics.case import Case
from analytics.plan_answers import CheckChoice
from analytics.vocabulary import AccessGroup, Check, Vocabulary
from dashboards.places import counted, say_number
from dashboards.sentences import in_markdown, sentence
from pipelines.history import TicketCounts
from pipelines.wording import change_phrase, in_ten, minutes_phrase, odds_phrase, salt_phrase

SHOWN_SUSPECTS = 7
# What moved least is left out of the picture of what moved.
SHOWN_MOVES = 4
SMALL_MOVE = 0.005
SALT_BELOW = 30


def suspect_frame(advice: Advice) -> pd.DataFrame:
    """The likeliest suspects; columns as `chart_suspects` wants them."""
    low, high = advice.belief.interval(0.5)
    half = {code: (low[at], high[at]) for at, code in enumerate(advice.belief.suspects)}
    shown = advice.suspects[:SHOWN_SUSPECTS]
    return pd.DataFrame(
        {
            "name": [odds.name for odds in shown],
            "share": [odds.probability for odds in shown],
            "low_50": [float(half[odds.suspect][0]) for odds in shown],
            "high_50": [float(half[odds.suspect][1]) for odds in shown],
            "low_90": [odds.low for odds in shown],
            "high_90": [odds.high for odds in shown],
            "short": [in_ten(odds.probability) for odds in shown],
            "phrase": [odds_phrase(odds.probability, odds.low, odds.high) for odds in shown],
        }
    )


def moved_frame(before: Advice, after: Advice) -> pd.DataFrame:
    """The suspects whose odds moved most, by falling move; columns as `chart_moved` wants them."""
    earlier = {odds.suspect: odds.probability for odds in before.suspects}
    pairs = [(odds.name, earlier[odds.suspect], odds.probability) for odds in after.suspects]
    moved = [pair for pair in pairs if abs(pair[2] - pair[1]) >= SMALL_MOVE]
    shown = sorted(moved, key=lambda pair: -abs(pair[2] - pair[1]))[:SHOWN_MOVES]
    names, old, new = zip(*shown, strict=True) if shown else ((), (), ())
    phrases = [change_phrase(first, second) for _, first, second in shown]
    short = [sentence("moved.now", odds=in_ten(second)) for second in new]
    return pd.DataFrame({"name": names, "before": old, "after": new, "short": short, "phrase": phrases})


def finding(name: str, odds: str) -> tuple[str, str]:
    """A suspect and its odds as a title of two lines."""
    return sentence("suspects.title", name=name), odds


def say_all_odds(advice: Advice) -> list[str]:
    """Every suspect with its odds and interval, as Markdown."""
    return [
        in_markdown("suspects.word_line", name=odds.name, odds=odds_phrase(odds.probability, odds.low, odds.high))
        for odds in advice.suspects
    ]


def say_rest(advice: Advice) -> str:
    """The suspects that the picture leaves out, together; "" when it shows all."""
    rest = advice.suspects[SHOWN_SUSPECTS:]
    if not rest:
        return ""
    odds = in_ten(sum(odds.probability for odds in rest))
    return in_markdown("suspects.rest", suspects=counted(len(rest), "more suspect"), odds=odds)


def say_history(case: Case, counts: TicketCounts) -> str:
    """How many tickets stand behind the answer, with a warning when they are few."""
    tickets = counted(counts.same_symptom, "ticket")
    like, count = sentence("suspects.like_symptom", tickets=tickets), counts.same_symptom
    if case.family:
        like, count = (
            sentence("suspects.like_both", tickets=tickets, both=say_number(counts.same_both)),
            counts.same_both,
        )
    if count < SALT_BELOW:
        return in_markdown("suspects.history_salt", like=like, salt=salt_phrase(count))
    return in_markdown("suspects.history", like=like)


def say_plan(advice: Advice) -> str:
    """What following the plan costs and how often it ends well."""
    answer = advice.answer
    return in_markdown(
        "next.plan",
        minutes=minutes_phrase(answer.expected_minutes),
        slow=minutes_phrase(answer.quantile_minutes[2]).removeprefix("about "),
        fixed=in_ten(answer.chance_fixed),
    )


def choice_of(advice: Advice, code: str) -> CheckChoice:
    """The plan's figures of one check."""
    return next(choice for choice in advice.answer.choices if choice.check == code)


def groups_to_open(check: Check, vocabulary: Vocabulary) -> Sequence[AccessGroup]:
    """Access groups on the way to a check, outermost first; those that cost nothing to open are left out."""
    groups: list[AccessGroup] = []
    code = check.access_group
    while code:
        group = vocabulary.access_groups[code]
        groups.insert(0, group)
        code = group.inside
    return [group for group in groups if group.open_minutes]


def say_facts(check: Check, choice: CheckChoice, vocabulary: Vocabulary) -> list[str]:
    """Minutes, what to open, tool and part of a check, as Markdown."""
    groups = ", ".join(group.name for group in groups_to_open(check, vocabulary))
    return [
        in_markdown("next.minutes", minutes=minutes_phrase(choice.minutes)),
        in_markdown("next.access", groups=groups) if groups else in_markdown("next.nothing_to_open"),
        *([in_markdown("next.tool", tool=check.tool)] if check.tool else []),
        *([in_markdown("next.part", part=check.part)] if check.part else []),
    ]
