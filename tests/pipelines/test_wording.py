"""Numbers are said as the owner of the project asked: "about 4 in 10 (between 3 and 5)". Expected texts by hand."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.errors import InputError
from pipelines.wording import change_phrase, counted, in_ten, listed, minutes_phrase, odds_phrase, salt_phrase


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "fewer than 1 in 100"),
        (0.009, "fewer than 1 in 100"),
        (0.01, "about 1 in 100"),
        (0.02, "about 1 in 50"),
        (0.05, "about 1 in 20"),
        (0.08, "about 1 in 10"),
        (0.25, "about 3 in 10"),
        (0.38, "about 4 in 10"),
        (0.5, "about 5 in 10"),
        (0.9, "about 9 in 10"),
        (0.95, "about 19 in 20"),
        (0.98, "about 49 in 50"),
        (0.988, "about 99 in 100"),
        (1.0, "more than 99 in 100"),
    ],
)
def test_a_share_is_said_in_tenths_and_finer_at_both_ends(share: float, said: str) -> None:
    assert in_ten(share) == said


@given(st.integers(0, 2000).map(lambda number: number / 2000))
@settings(derandomize=True)
def test_what_is_said_of_a_share_and_of_its_rest_adds_up(share: float) -> None:
    def part(said: str) -> float:
        word, _, fraction = said.partition(" ")
        top, whole = (int(number) for number in fraction.removeprefix("than ").split(" in "))
        return {"about": top / whole, "fewer": 0.0, "more": 1.0}[word]

    assert part(in_ten(share)) + part(in_ten(1.0 - share)) == pytest.approx(1.0)
    # Half a tenth is the coarsest step.
    assert abs(part(in_ten(share)) - share) <= 0.0501


@pytest.mark.parametrize("share", [-0.1, 1.1, float("nan")])
def test_what_is_no_share_is_refused_in_words(share: float) -> None:
    with pytest.raises(InputError, match="from 0 to 1"):
        in_ten(share)


@pytest.mark.parametrize(
    ("share", "low", "high", "said"),
    [
        (0.38, 0.3, 0.52, "about 4 in 10 (between 3 and 5)"),
        (0.4, 0.38, 0.42, "about 4 in 10"),
        (0.1, 0.02, 0.3, "about 1 in 10 (between 1 in 50 and 3 in 10)"),
        (0.03, 0.001, 0.2, "about 1 in 20 (at most 2 in 10)"),
        (0.97, 0.8, 0.999, "about 19 in 20 (at least 8 in 10)"),
        (0.5, 0.0, 1.0, "about 5 in 10 (could be anything)"),
        # The mean of a skewed belief can lie outside its own interval.
        (0.2, 0.3, 0.4, "about 2 in 10 (between 2 and 4)"),
    ],
)
def test_an_interval_is_said_with_the_share(share: float, low: float, high: float, said: str) -> None:
    assert odds_phrase(share, low, high) == said


def test_a_change_is_said_from_and_to_unless_it_is_too_small_to_say() -> None:
    assert change_phrase(0.2, 0.31) == "from about 2 in 10 to about 3 in 10"
    assert change_phrase(0.2, 0.22) == "a little up, still about 2 in 10"
    assert change_phrase(0.22, 0.2) == "a little down, still about 2 in 10"


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (0, "we have not seen this before: the odds come from the list and from other tickets"),
        (1, "we have seen this once, so take it with salt"),
        (2, "we have seen this twice, so take it with salt"),
        (5, "we have seen this only 5 times, so take it with salt"),
        (10, "we have seen this 10 times, so the odds may still move"),
        (1200, "we have seen this 1,200 times"),
    ],
)
def test_few_like_tickets_come_with_salt(count: int, said: str) -> None:
    assert salt_phrase(count) == said


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (0.0, "less than a minute"),
        (1.4, "about 1 min"),
        (12.3, "about 12 min"),
        (59.6, "about 1 h"),
        (80.0, "about 1 h 20 min"),
        (118.0, "about 2 h"),
    ],
)
def test_minutes_are_said_as_on_a_clock(minutes: float, said: str) -> None:
    assert minutes_phrase(minutes) == said


@pytest.mark.parametrize("minutes", [-1.0, float("nan")])
def test_what_is_no_time_is_refused_in_words(minutes: float) -> None:
    with pytest.raises(InputError, match="not below 0"):
        minutes_phrase(minutes)


def test_nouns_follow_their_numbers() -> None:
    said = [counted(number, "ticket") for number in (0, 1, 2, 1200)]
    assert said == ["no tickets", "1 ticket", "2 tickets", "1,200 tickets"]
    assert counted(3, "check that helps", "checks that help") == "3 checks that help"
    assert [listed(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
