"""The newest fit and its diagnostics in words, the tickets closed since, and the fits before."""

from typing import Any

import pandas as pd
import streamlit as st

from analytics.live_update import MAX_NEW_SHARE, MIN_EFFECTIVE_SHARE, LiveUpdate
from analytics.posterior import MAX_DIVERGENCES, MAX_RHAT, MIN_ESS
from dashboards import data
from dashboards.places import counted, say_moment, say_number
from dashboards.sentences import in_markdown, sentence
from pipelines.wording import in_ten


def show_newest(fits: pd.DataFrame) -> None:
    """The newest fit, whether it holds or not.

    Parameters
    ----------
    fits : newest first, at least one; columns as in `sql/fits_so_far.sql`
    """
    newest: Any = fits.iloc[0]
    st.subheader(sentence("modelfit.heading"), anchor=False)
    tickets, seconds = counted(int(newest.ticket_count), "ticket"), counted(round(newest.seconds), "second")
    st.markdown(in_markdown("modelfit.facts", tickets=tickets, moment=say_moment(newest.fitted_at), seconds=seconds))
    if newest.published:
        st.success(sentence("modelfit.serves"))
    else:
        st.warning(_say_replaced(fits))
    st.markdown("\n".join(f"- {line}" for line in say_diagnostics(newest)))
    st.caption(sentence("modelfit.names"))


def show_fits(fits: pd.DataFrame, *, in_use: str) -> None:
    """All fits as a table."""
    verdicts = {True: sentence("modelfit.holds"), False: sentence("modelfit.fails")}
    with st.expander(sentence("modelfit.earlier")):
        table = pd.DataFrame(
            {
                sentence("modelfit.when"): [say_moment(moment) for moment in fits["fitted_at"]],
                sentence("modelfit.tickets"): [say_number(count) for count in fits["ticket_count"]],
                sentence("modelfit.took"): [f"{seconds:.0f}" for seconds in fits["seconds"]],
                sentence("modelfit.verdict"): [
                    sentence("modelfit.used") if fit_id == in_use else verdicts[bool(published)]
                    for fit_id, published in zip(fits["fit_id"], fits["published"], strict=True)
                ],
            }
        )
        st.dataframe(table, hide_index=True)


def show_since(update: LiveUpdate, served: data.Served) -> None:
    """Tickets closed since the fit, how far the moved odds can be trusted, and when a new fit is due."""
    st.subheader(sentence("modelsince.heading"), anchor=False)
    fitted = served.posterior.ticket_count - update.ticket_count
    for line in say_since(update, fitted):
        st.markdown(line)


def say_since(update: LiveUpdate, fitted: int) -> list[str]:
    """The same as Markdown; `fitted` tickets are behind the fit itself."""
    if not update.ticket_count and not update.left_out:
        return [sentence("modelsince.none"), _say_later(fitted)]
    lines = [in_markdown("modelsince.count", tickets=counted(update.ticket_count, "ticket"))]
    now, limit = in_hundred(update.new_share), in_hundred(MAX_NEW_SHARE)
    if update.left_out:
        lines.append(in_markdown("modelsince.left_out", tickets=counted(update.left_out, "ticket")))
    if update.new_share > MAX_NEW_SHARE:
        lines.append(in_markdown("modelsince.many", now=now, limit=limit))
    elif update.effective_share < MIN_EFFECTIVE_SHARE:
        share, least = in_ten(update.effective_share), in_ten(MIN_EFFECTIVE_SHARE)
        lines.append(in_markdown("modelsince.surprised", share=share, limit=least))
    else:
        lines.append(sentence("modelsince.trust", share=limit, now=now))
    return [*lines, sentence("modelsince.due") if update.is_spent else _say_later(fitted, update.ticket_count)]


def say_diagnostics(fit: Any) -> list[str]:
    """Each figure of a fit (max_rhat, min_ess, divergence_count) in words, with its limit, as Markdown."""
    verdicts = {True: sentence("modelfit.good"), False: sentence("modelfit.bad")}
    rhat, ess, count = fit.max_rhat, fit.min_ess, int(fit.divergence_count)
    lost = sentence("modelfit.lost_times", times=counted(count, "time")) if count else sentence("modelfit.lost_never")
    told: tuple[tuple[str, bool, str, str], ...] = (
        ("modelfit.agree", rhat <= MAX_RHAT, f"{rhat:.3f}", f"{MAX_RHAT}"),
        ("modelfit.enough", ess >= MIN_ESS, say_number(ess), f"{MIN_ESS:.0f}"),
        ("modelfit.lost", count <= MAX_DIVERGENCES, lost, f"{MAX_DIVERGENCES}"),
    )
    return [sentence(key, verdict=verdicts[bool(holds)], found=found, limit=limit) for key, holds, found, limit in told]


def in_hundred(share: float) -> str:
    """A share, "20 in 100"; beyond all of them as well."""
    return f"{100 * share:.0f} in 100" if share >= 0.01 or not share else "fewer than 1 in 100"


def _say_replaced(fits: pd.DataFrame) -> str:
    good = fits[fits["published"]]
    if good.empty:
        return sentence("modelfit.nothing_serves")
    return in_markdown("modelfit.replaced", moment=say_moment(good["fitted_at"].iloc[0]))


def _say_later(fitted: int, already: int = 0) -> str:
    left = max(1, int(MAX_NEW_SHARE * fitted) + 1 - already)
    if left < 20:
        return in_markdown("modelsince.later", tickets=counted(left, "ticket"))
    about = float(f"{left:.1g}" if left < 100 else f"{left:.2g}")
    return in_markdown("modelsince.later", tickets=sentence("modelsince.about", tickets=counted(int(about), "ticket")))
