"""What is known of a check, as a technician reads it."""

from analytics.check_knowledge import CheckKnowledge, Learnt
from analytics.vocabulary import Vocabulary
from pipelines.wording import counted, in_ten, minutes_phrase, odds_phrase


def say_check(known: CheckKnowledge, vocabulary: Vocabulary) -> str:
    """A heading and one line for each thing the check can tell or do."""
    check = vocabulary.checks[known.check]
    made = (
        f"made {counted(known.made_count, 'time')}" if known.made_count else "never made: its seed and its kind speak"
    )
    lines = [f"{check.name} ({check.kind.replace('_', ' ')}), {made}"]
    for verb, rates in (("finds", known.detection), ("cures", known.cure)):
        lines += [f"  {verb} {vocabulary.suspects[code].name}: {_say_rate(rate)}" for code, rate in rates.items()]
    if known.false_alarm is not None:
        lines.append(f"  sees a fault that is not there: {_say_rate(known.false_alarm)}")
    return "\n".join([*lines, f"  takes: {_say_minutes(known.minutes)}"])


def _say_rate(rate: Learnt) -> str:
    return f"seeded {in_ten(rate.seeded)}, now {odds_phrase(rate.now, rate.low, rate.high)}"


def _say_minutes(minutes: Learnt) -> str:
    low, high = (minutes_phrase(value).removeprefix("about ") for value in (minutes.low, minutes.high))
    now = minutes_phrase(minutes.now)
    between = f" (between {low} and {high})" if low != high else ""
    return f"seeded {minutes_phrase(minutes.seeded)}, now {now}{between}"
