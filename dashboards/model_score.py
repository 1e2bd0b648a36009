"""Was it right? The running score of the bench, the stored backtest as a picture, and what a stored proof found."""

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd
import streamlit as st

from analytics.posterior import MAX_RHAT
from dashboards import charts_model, data
from dashboards.model_look import palette
from dashboards.places import counted, say_moment
from dashboards.sentences import in_markdown, plain, sentence
from pipelines.backtest_files import Backtest, read_backtest
from pipelines.proof_files import read_proof
from pipelines.proof_in_words import say_left_out, say_tables
from pipelines.session_scores import ServedPlaces
from pipelines.settings import Settings
from pipelines.wording import in_ten

FEW_MACHINES = 20
# A group is called off when chance does not explain it and it matters: one in twenty.
CLEARLY_OFF = 0.05
# Where the finding of good odds is read off: neither rare nor sure.
SPOKEN_OF = 0.3


def show_score(places: ServedPlaces) -> None:
    """How the advice served on the bench has done so far."""
    st.subheader(sentence("modelscore.heading"), anchor=False)
    if not places.sessions:
        st.info(sentence("modelscore.none"))
        return
    for line in say_score(places):
        st.markdown(line)
    st.caption(
        sentence("modelscore.technical", log_loss=f"{places.log_loss:.2f}", blind=f"{places.blind_log_loss:.2f}")
    )


def say_score(places: ServedPlaces) -> list[str]:
    """The same as Markdown."""
    better = places.log_loss < places.blind_log_loss
    lines = [
        in_markdown(
            "modelscore.places",
            sessions=counted(places.sessions, "machine"),
            one=places.first_one,
            three=places.first_three,
        ),
        in_markdown(
            "modelscore.given",
            said=in_ten(math.exp(-places.log_loss)),
            blind=in_ten(math.exp(-places.blind_log_loss)),
            verdict=sentence("modelscore.better") if better else sentence("modelscore.worse"),
        ),
    ]
    return lines if places.sessions >= FEW_MACHINES else [*lines, sentence("modelscore.few")]


def show_backtest(settings: Settings) -> None:
    """The stored backtest as a picture, or how to make one."""
    st.subheader(sentence("modelcal.heading"), anchor=False)
    found = read_backtest(settings)
    if found is None:
        st.info(sentence("modelcal.none"))
        return
    st.markdown(_say_backtest(found))
    frame = calibration_frame(found.calibration)
    title = calibration_finding(found.calibration)
    words = {
        "said": sentence("modelcal.said"),
        "happened": sentence("modelcal.happened"),
        "as_said": sentence("modelcal.as_said"),
    }
    with st.container(key="model_calibration"):
        chart = charts_model.chart_calibration(frame, palette(), title=title, words=words)
        st.altair_chart(chart, alt=sentence("modelcal.alternative", first=" ".join(title)), theme=None)
    st.caption(sentence("modelcal.how_to_read"))
    if found.folds["max_rhat"].max() > MAX_RHAT:
        worst = f"{found.folds['max_rhat'].max():.3f}"
        st.caption(sentence("modelcal.short_runs", found=worst, limit=MAX_RHAT))
    with st.expander(sentence("modelcal.in_words")):
        st.markdown("\n".join(f"- {plain(phrase)}" for phrase in frame["phrase"]))


def show_proof(served: data.Served) -> None:
    """Tickets the fit would write, and tickets left out, from the stored proof; or how to make one."""
    st.subheader(sentence("modelproof.heading"), anchor=False)
    found = read_proof(served.settings)
    if found is None:
        st.info(sentence("modelproof.none"))
        return
    if found.fit_id != served.key[1]:
        st.warning(in_markdown("modelproof.older", fit=found.fit_id))
    st.markdown(sentence("modelproof.tables"))
    st.markdown(_as_list(say_tables(found, served.vocabulary)))
    st.markdown(sentence("modelproof.left_out"))
    st.markdown(_as_list(say_left_out(found)))


def calibration_frame(bins: pd.DataFrame) -> pd.DataFrame:
    """Groups of like forecasts; columns as `chart_calibration` wants them."""
    tens = (10 * bins[["forecast_mean", "observed_rate", "low", "high"]]).round(2)
    frame = tens.rename(columns={"forecast_mean": "said", "observed_rate": "happened"})
    return frame.assign(phrase=[_say_bin(row, count) for row, count in zip(_rows(frame), bins["count"], strict=True)])


def calibration_finding(bins: pd.DataFrame) -> tuple[str, str]:
    """The title: the group that is furthest off beyond chance, else one that shows that the odds hold."""
    miss = (bins["forecast_mean"] - bins["observed_rate"]).abs()
    beyond = (bins["forecast_mean"] < bins["low"]) | (bins["forecast_mean"] > bins["high"])
    off = bins[beyond & (miss >= CLEARLY_OFF)]
    if len(off):
        return sentence("modelcal.title_off"), _say_pair("modelcal.off", bins.loc[miss[off.index].idxmax()])
    nearest = (bins["forecast_mean"] - SPOKEN_OF).abs().idxmin()
    return sentence("modelcal.title_kept"), _say_pair("modelcal.kept", bins.loc[nearest])


def _say_backtest(found: Backtest) -> str:
    """Its first row is this model, told no more than a bench is told at intake."""
    first: Any = found.table.iloc[0]
    return in_markdown(
        "modelcal.lead",
        moment=say_moment(found.made_at),
        tickets=counted(int(found.folds["scored"].sum()), "ticket"),
        one=in_ten(first.top_1),
        three=in_ten(first.top_3),
    )


def _say_pair(key: str, row: pd.Series) -> str:
    return sentence(key, said=f"{10 * row['forecast_mean']:.1f}", happened=f"{10 * row['observed_rate']:.1f}")


def _say_bin(row: dict[str, float], count: int) -> str:
    said = {name: f"{row[name]:.1f}" for name in ("said", "happened", "low", "high")}
    return sentence("modelcal.line", **said, times=counted(int(count), "time"))


def _rows(frame: pd.DataFrame) -> Sequence[dict[str, float]]:
    return [{str(name): float(value) for name, value in row.items()} for row in frame.to_dict(orient="records")]


def _as_list(lines: Sequence[str]) -> str:
    """Lines of the proof as a Markdown list; what is indented most belongs below the line before."""
    depth = min((len(line) - len(line.lstrip()) for line in lines), default=0)
    return "\n".join(
        f"{'  ' * (len(line) - len(line.lstrip()) > depth)}- {plain(line)}" for line in lines if line.strip()
    )
