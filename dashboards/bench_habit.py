"""The plan beside what the shop would usually do: how soon such a machine works."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
import streamlit as st

from analytics.advice import Advice
from analytics.habit import usual_way
from analytics.plan_answers import chance_fixed_by
from dashboards import data
from dashboards.charts_plan import chart_habit
from dashboards.model_look import fold, palette
from dashboards.sentences import sentence
from pipelines.wording import minutes_phrase


def show_habit(advice: Advice, served: data.Served) -> None:
    """Both ways as stairs, and how far they differ in words, once asked for."""
    # a switch, not a drawer: what lies in a closed drawer is drawn all the same, and a picture without width badly
    if st.toggle(sentence("habit.heading"), key="bench_habit"):
        frame = habit_frame(advice, data.settled(advice.case.symptom, served))
        if not (frame["way"] == "usual").any():
            st.markdown(sentence("habit.none"))
            return
        title = say_difference(frame)
        keys = ("habit.plan", "habit.usual", "habit.minutes", "habit.share")
        words = {key.partition(".")[2]: sentence(key) for key in keys}
        st.altair_chart(chart_habit(frame, palette(), title=fold(title), words=words), alt=" ".join(title), theme=None)
        st.caption(sentence("habit.lead"))


def habit_frame(advice: Advice, settled: Mapping[str, float]) -> pd.DataFrame:
    """Columns as `chart_habit` wants them, both ways up to the same minute; no row "usual" where nothing is left."""
    ends = advice.answer.ends
    plan_minutes = np.unique(np.append(0.0, ends.minutes[ends.is_fixed]))
    usual_minutes, usual_share = usual_way(advice.plan, settled)
    until = max(plan_minutes[-1], 1.0)
    kept = usual_minutes <= until
    ways = {
        "plan": (np.append(plan_minutes, until), chance_fixed_by(ends, np.append(plan_minutes, until))),
        "usual": (np.append(usual_minutes[kept], until), np.append(usual_share[kept], usual_share[kept][-1])),
    }
    if len(usual_minutes) == 1:
        ways.pop("usual")
    rows = [(way, minute, share) for way, pair in ways.items() for minute, share in zip(*pair, strict=True)]
    return pd.DataFrame(rows, columns=["way", "minutes", "share"])


def say_difference(frame: pd.DataFrame) -> list[str]:
    """How much sooner a machine works on average: the area between the two stairs."""
    stairs = frame.pivot_table(index="minutes", columns="way", values="share", aggfunc="last").ffill()
    lead = (stairs["plan"] - stairs["usual"]).to_numpy()[:-1]
    sooner = float(lead @ np.diff(stairs.index.to_numpy()))
    if abs(sooner) < 1.0:
        return [sentence("habit.alike")]
    key = "habit.sooner" if sooner > 0 else "habit.later"
    return [sentence("habit.first"), sentence(key, minutes=minutes_phrase(abs(sooner)))]
