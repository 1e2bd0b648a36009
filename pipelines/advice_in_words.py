"""Suspects and next check as a technician reads them: on the terminal, at the bench, on the card."""

from analytics.advice import Advice
from analytics.case import LastRepair
from analytics.cautions import cautions_for
from analytics.plan_answers import CheckChoice, PlanAnswer
from analytics.vocabulary import Vocabulary
from pipelines.wording import counted, in_ten, listed, minutes_phrase, odds_phrase

SHOWN_SUSPECTS = 8
HAND_ON = "Next: hand the machine on. No check left is worth its minutes."


def suspect_lines(advice: Advice) -> list[str]:
    """The first suspects with their odds in words, and one line for the rest."""
    shown, rest = advice.suspects[:SHOWN_SUSPECTS], advice.suspects[SHOWN_SUSPECTS:]
    width = max(len(odds.name) for odds in shown)
    lines = [f"  {odds.name:<{width}}  {odds_phrase(odds.probability, odds.low, odds.high)}" for odds in shown]
    together = sum(odds.probability for odds in rest)
    if rest and together:
        lines.append(f"  {f'{len(rest)} more suspects together':<{width}}  {in_ten(min(together, 1.0))}")
    return lines


def say_last_repair(last: LastRepair, vocabulary: Vocabulary) -> str:
    """What a machine that came back tells: what was repaired last time, and how often that is it again."""
    name = vocabulary.suspects[last.suspect].name if last.suspect in vocabulary.suspects else last.suspect
    ago = "today" if not last.days else f"{counted(last.days, 'day')} ago"
    if last.again < 0.5:
        said = f"the same complaint is back, so that was probably not the whole story: it is that again {_times(last)}"
    else:
        said = f"the same complaint is back, and it is that again {_times(last)}"
    return f"'{name}' was repaired {ago}; {said}."


def _times(last: LastRepair) -> str:
    return f"in {in_ten(last.again)} comebacks"


def next_check_lines(advice: Advice, vocabulary: Vocabulary) -> list[str]:
    """The check to make next, why a safer one was taken, how to do it, and its cautions."""
    if not advice.next_check:
        return [HAND_ON]
    check = vocabulary.checks[advice.next_check]
    minutes = minutes_phrase(next_choice(advice).minutes)
    lines = [f"First check: {check.name} ({minutes}, with opening up)", *safer_lines(advice, vocabulary)]
    lines += [f"  {check.instruction}"] if check.instruction else []
    return lines + [f"  Caution - {caution}" for caution in cautions_for(check, vocabulary)]


def safer_lines(advice: Advice, vocabulary: Vocabulary) -> list[str]:
    """Why the next check is not the one with the fewest minutes; [] where it is."""
    if advice.safer is None:
        return []
    avoided = listed([vocabulary.hazards[code].name.lower() for code in advice.safer.avoided])
    planned = vocabulary.checks[advice.answer.check].name
    return [f"  As good as '{planned}' and safer: it keeps clear of {avoided}."]


def next_choice(advice: Advice) -> CheckChoice:
    """The next check with its minutes."""
    return next(choice for choice in advice.answer.choices if choice.check == advice.next_check)


def say_plan(answer: PlanAnswer) -> str:
    """How long the whole plan takes and how often it ends with a working machine."""
    usual, slow = minutes_phrase(answer.expected_minutes), minutes_phrase(answer.quantile_minutes[2])
    return (
        f"Following the plan takes {usual} on average, more than {slow.removeprefix('about ')} on one machine in ten; "
        f"{in_ten(min(answer.chance_fixed, 1.0))} machines work at its end."
    )
