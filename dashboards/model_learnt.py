"""What the tickets taught: suspects before any ticket and now, and what age does to a failure."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import streamlit as st

from analytics.age_curves import AgeCurve, age_curve, modes_with_links
from analytics.case import Case
from analytics.posterior import Posterior
from analytics.suspects import Belief, belief
from analytics.vocabulary import Vocabulary
from dashboards import charts_model, data
from dashboards.model_look import fold, palette
from dashboards.places import counted
from dashboards.sentences import in_markdown, sentence
from pipelines.wording import change_phrase, in_ten, odds_phrase

SHOWN_SUSPECTS = 9
# Smaller moves are no finding.
LEAST_MOVE = 0.05


def show_learnt(served: data.Served) -> None:
    """Both pictures; side by side where there is room."""
    symptoms, ages = st.columns(2, gap="large")
    with symptoms:
        _show_change(served)
    with ages:
        _show_ages(served)


def known_symptoms(served: data.Served) -> list[str]:
    """Codes that the fit and the vocabulary of today both know."""
    return [code for code in served.vocabulary.symptoms if code in served.posterior.positions["symptom"]]


def choose_symptom(served: data.Served, label: str, key: str) -> str:
    """Code of the symptom chosen from those known."""
    name = served.vocabulary.symptoms
    return str(st.selectbox(label, known_symptoms(served), format_func=lambda code: name[code].name, key=key))


def _show_change(served: data.Served) -> None:
    st.subheader(sentence("modellearnt.heading"), anchor=False)
    symptom = choose_symptom(served, sentence("modellearnt.symptom"), "model_symptom")
    with st.spinner(sentence("modellearnt.waiting")):
        first = data.prior(served)
    frame = change_frame(first, served.posterior, served.vocabulary, symptom=symptom)
    title, shown = change_finding(frame), frame[:SHOWN_SUSPECTS]
    chart = charts_model.chart_learnt(_in_tens(shown), palette(), title=title, scale=sentence("modellearnt.scale"))
    st.altair_chart(chart, alt=sentence("modellearnt.alternative", first=" ".join(title)), theme=None)
    st.caption(sentence("modellearnt.how_to_read"))
    with st.expander(sentence("modellearnt.in_words")):
        lines = [
            in_markdown("modellearnt.line", name=row.name, before=in_ten(row.before), now=row.phrase)
            for row in frame.itertuples(index=False)
        ]
        st.markdown("\n".join(f"1. {line}" for line in lines))


def change_frame(first: Posterior, now: Posterior, vocabulary: Vocabulary, *, symptom: str) -> pd.DataFrame:
    """Suspects of a symptom by falling odds: name, before, share, low_50 ... high_90 (0 to 1), short, phrase.

    Suspects that only one of both knows (the list was edited since the fit) are left out.
    """
    before, told = (belief(posterior, Case(symptom), vocabulary) for posterior in (first, now))
    earlier = dict(zip(before.suspects, before.mean.tolist(), strict=True))
    half, wide = told.interval(0.5), told.interval(0.9)
    rows = [
        (vocabulary.suspects[code].name, earlier[code], float(told.mean[at]), *half[:, at], *wide[:, at])
        for at, code in _by_odds(told)
        if code in earlier and code in vocabulary.suspects
    ]
    frame = pd.DataFrame(rows, columns=["name", "before", "share", "low_50", "high_50", "low_90", "high_90"])
    said = zip(frame["share"], frame["low_90"], frame["high_90"], strict=True)
    return frame.assign(short=[in_ten(share) for share in frame["share"]], phrase=[odds_phrase(*one) for one in said])


def change_finding(frame: pd.DataFrame) -> list[str]:
    """The suspect that the tickets moved most, as a title."""
    moves = (frame["share"] - frame["before"]).abs()
    if moves.max() < LEAST_MOVE:
        return [sentence("modellearnt.nothing"), sentence("modellearnt.nothing_more")]
    most = frame.loc[moves.idxmax()]
    return fold([sentence("modellearnt.title", name=most["name"]), change_phrase(most["before"], most["share"])])


def _show_ages(served: data.Served) -> None:
    st.subheader(sentence("modelage.heading"), anchor=False)
    name_mode = _mode_names(served.vocabulary)
    modes = list(modes_with_links(served.posterior))
    mode = str(st.selectbox(sentence("modelage.mode"), modes, format_func=name_mode, key="model_mode"))
    curve = age_curve(served.posterior, data.ticket_cells(served), mode=mode)
    frame = age_frame(curve, served.vocabulary)
    title = age_finding(curve, frame, name=name_mode(mode))
    words = {
        "scale": sentence("modelage.scale"),
        "ages": sentence("modelage.ages"),
        "usual": sentence("modelage.usual"),
    }
    chart = charts_model.chart_ages(frame, palette(), title=title, words=words)
    st.altair_chart(chart, alt=sentence("modelage.alternative", first=" ".join(title)), theme=None)
    st.caption(sentence("modelage.how_to_read"))
    with st.expander(sentence("modelage.in_words")):
        st.markdown("\n".join(f"- {in_markdown('modelage.line', **row)}" for row in _age_rows(curve, frame)))


def age_frame(curve: AgeCurve, vocabulary: Vocabulary) -> pd.DataFrame:
    """Ages of a curve; columns as `chart_ages` wants them, and age (words)."""
    bands = {band.code: band for band in vocabulary.age_bands}
    last = vocabulary.age_bands[-1].code

    def name(code: str) -> str:
        if code not in bands:
            return code
        key = "modelage.last_band" if code == last else "modelage.band"
        return sentence(key, from_age=bands[code].from_age, to_age=bands[code].to_age)

    frame = pd.DataFrame(
        {"age": [name(c) for c in curve.ages], "factor": curve.factor, "low": curve.low, "high": curve.high}
    )
    frame["label"] = [f"{age}|{count:.0f}" for age, count in zip(frame["age"], curve.tickets, strict=True)]
    frame["phrase"] = [sentence("modelage.line", **row) for row in _age_rows(curve, frame)]
    return frame


def age_finding(curve: AgeCurve, frame: pd.DataFrame, *, name: str) -> list[str]:
    """The age whose odds differ most from the usual, among those that surely differ, as a title."""
    is_clear = (curve.low > 1) | (curve.high < 1)
    heading = sentence("modelage.title", name=name)
    if not is_clear.any():
        return fold([heading, sentence("modelage.flat")])
    at = int(np.argmax(np.where(is_clear, np.abs(np.log(curve.factor)), 0.0)))
    key = "modelage.high" if curve.factor[at] > 1 else "modelage.low"
    times = sentence("modelage.times", factor=_factor(curve.factor[at]))
    return fold([heading, sentence(key, age=frame["age"].iloc[at]), times])


def _age_rows(curve: AgeCurve, frame: pd.DataFrame) -> list[dict[str, str]]:
    rows = zip(frame["age"], curve.factor, curve.low, curve.high, curve.tickets, strict=True)
    return [
        {
            "age": age,
            "factor": _factor(factor),
            "low": _factor(low),
            "high": _factor(high),
            "tickets": counted(round(tickets), "ticket"),
        }
        for age, factor, low, high, tickets in rows
    ]


def _factor(value: float) -> str:
    """A factor as one would say it: "2.1", "12", "0.4"."""
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 0.1 else f"{value:.2f}"


def _mode_names(vocabulary: Vocabulary) -> Callable[[str], str]:
    modes, other = vocabulary.failure_modes, sentence("modelage.other")
    return lambda code: modes[code].name if code in modes else other


def _by_odds(found: Belief) -> list[tuple[int, str]]:
    return [(int(at), found.suspects[at]) for at in np.argsort(-found.mean, kind="stable")]


def _in_tens(frame: pd.DataFrame) -> pd.DataFrame:
    shares = list(frame.select_dtypes("number").columns)
    return frame.assign(**{name: 10 * frame[name] for name in shares})
