"""What each check can do for one complaint: a map of checks and suspects, as seeded and as learnt."""

import math
from collections.abc import Callable, Mapping, Sequence

import pandas as pd
import streamlit as st

from analytics.case import Case
from analytics.check_knowledge import CheckKnowledge, Learnt, know_checks
from analytics.suspects import belief, rank_suspects
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary
from dashboards import charts_model, data
from dashboards.model_learnt import choose_symptom
from dashboards.model_look import fold, palette
from dashboards.places import counted
from dashboards.sentences import in_markdown, plain, sentence
from pipelines.checks_in_words import say_check
from pipelines.wording import in_ten, odds_phrase

type Rates = Callable[[CheckKnowledge], Mapping[str, Learnt]]
WHAT: Mapping[str, Rates] = {
    "modelcheck.finds": lambda known: known.detection,
    "modelcheck.cures": lambda known: known.cure,
}


def show_checks(served: data.Served) -> None:
    """The map for a chosen complaint, its key, and everything in words."""
    st.subheader(sentence("modelcheck.heading"), anchor=False)
    chosen, shown = st.columns(2, gap="large")
    with chosen:
        symptom = choose_symptom(served, sentence("modelcheck.symptom"), "model_checks_symptom")
    with shown:
        what = st.segmented_control(
            sentence("modelcheck.which"),
            list(WHAT),
            format_func=sentence,
            default="modelcheck.finds",
            required=True,
            key="model_checks_what",
        )
    known = know_checks(served.posterior, served.vocabulary, symptom=symptom, made=data.checks_made(served))
    suspects = _suspects(served, symptom)
    _show_map(known, suspects, WHAT[what or "modelcheck.finds"], served.vocabulary)
    left = len(served.vocabulary.checks_for(symptom)) - len(known)
    if left:
        st.caption(in_markdown("modelcheck.left", count=counted(left, "check")))
    with st.expander(sentence("modelcheck.in_words")):
        st.markdown("\n\n".join(_say_in_list(one, served.vocabulary) for one in known))


def _show_map(known: Sequence[CheckKnowledge], suspects: Sequence[str], rates: Rates, vocabulary: Vocabulary) -> None:
    frame = check_frame(known, suspects, rates, vocabulary)
    if frame.empty:
        st.info(sentence("modelcheck.none"))
        return
    title = check_finding(known, suspects, rates, vocabulary)
    picture, key = st.columns([20, 11], gap="large")
    with picture:
        chart = charts_model.chart_checks(frame, palette(), title=title, scale=sentence("modelcheck.scale"))
        st.altair_chart(chart, alt=sentence("modelcheck.alternative", first=" ".join(title)), theme=None)
    with key:
        st.markdown(sentence("modelcheck.suspects"))
        st.markdown("\n".join(f"{at}. {plain(vocabulary.suspects[code].name)}" for at, code in enumerate(suspects, 1)))
        st.caption(sentence("modelcheck.how_to_read"))


def check_frame(
    known: Sequence[CheckKnowledge], suspects: Sequence[str], rates: Rates, vocabulary: Vocabulary
) -> pd.DataFrame:
    """Every check that can do it with every suspect; columns as `chart_checks` wants them."""
    useful = [one for one in known if set(rates(one)) & set(suspects)]
    rows = [
        (vocabulary.checks[one.check].name, vocabulary.suspects[code].name, number, *_cell(rates(one).get(code)))
        for one in useful
        for number, code in enumerate(suspects, 1)
    ]
    return pd.DataFrame(rows, columns=["check", "suspect", "number", "now", "text", "phrase"])


def check_finding(
    known: Sequence[CheckKnowledge], suspects: Sequence[str], rates: Rates, vocabulary: Vocabulary
) -> list[str]:
    """What the tickets corrected most, beyond what is still unknown, as a title."""
    pairs = [(one.check, code, rates(one)[code]) for one in known for code in suspects if code in rates(one)]
    moved = [pair for pair in pairs if not pair[2].low <= pair[2].seeded <= pair[2].high]
    if not moved:
        return fold([sentence("modelcheck.title_kept"), sentence("modelcheck.kept")])
    check, code, rate = max(moved, key=lambda pair: abs(_log_odds(pair[2].now) - _log_odds(pair[2].seeded)))
    return fold(
        [
            sentence("modelcheck.title_moved", check=vocabulary.checks[check].name),
            sentence("modelcheck.moved", suspect=vocabulary.suspects[code].name),
            sentence("modelcheck.moved_odds", now=in_ten(rate.now), seeded=in_ten(rate.seeded)),
        ]
    )


def _suspects(served: data.Served, symptom: str) -> list[str]:
    """Suspects of the symptom by falling odds; a check is made for a named one."""
    ranked = rank_suspects(belief(served.posterior, Case(symptom), served.vocabulary), served.vocabulary)
    return [odds.suspect for odds in ranked if odds.suspect != SOMETHING_ELSE]


def _cell(rate: Learnt | None) -> tuple[float, str, str]:
    if rate is None:
        return math.nan, "", ""
    seeded, now = (_tens(share) for share in (rate.seeded, rate.now))
    return rate.now, now if seeded == now else f"{seeded}→{now}", odds_phrase(rate.now, rate.low, rate.high)


def _tens(share: float) -> str:
    return f"{10 * share:.0f}"


def _log_odds(share: float) -> float:
    inside = min(max(share, 0.001), 0.999)
    return math.log(inside / (1 - inside))


def _say_in_list(known: CheckKnowledge, vocabulary: Vocabulary) -> str:
    heading, *lines = say_check(known, vocabulary).splitlines()
    return "\n".join([f"**{plain(heading)}**", "", *(f"- {plain(line)}" for line in lines)])
