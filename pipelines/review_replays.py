"""The figure that lays the plan beside what was done on the newest repairs."""

from itertools import groupby

import numpy as np
import pandas as pd

from analytics.case import Case, CheckResult
from analytics.errors import InputError
from analytics.plan_of_case import PlanOf
from analytics.plan_replays import DoneRepair, replay_plan, saved_share
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.posteriors import has_published_fit
from pipelines.review_parts import Part
from pipelines.review_plans import newest_planner
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import counted, in_ten, minutes_phrase

# Each symptom takes a tenth of a second to plan.
REPLAYED = 60
FEW_REPAIRS = 10
QUESTION = "Would the plan have been quicker on the newest repairs?"
NOTES = (
    "The plan is told the symptom alone, and written out once. On the bench it hears the rest too, "
    "plans again after each result and tries a remedy twice, so its minutes here are at most. Both sides pay the same "
    "usual minutes for each check, for opening and closing, and for handing on.",
    "Where nobody found out what it was, the plan meets each suspect with the odds that the results left it. Repairs "
    "that ended with something outside the list, or with no fault found, are left out. The fit has seen these tickets, "
    "which favours the plan a little; `faultodds backtest` is free of that.",
)


def review_replays(settings: Settings, vocabulary: Vocabulary) -> Part:
    """Minutes of the plan beside those of the order made, on up to `REPLAYED` repairs."""
    if not has_published_fit(settings):
        return Part(QUESTION, "There is no fit to plan with yet. `faultodds fit` makes one.", pd.DataFrame())
    with reading(settings.store_path) as con:
        rows = run_query(con, "review_repairs", limit=REPLAYED)
    minutes = replay_minutes(rows, *newest_planner(settings), vocabulary)
    if len(minutes) < FEW_REPAIRS:
        finding = f"Only {counted(len(minutes), 'repair')} could be laid beside the plan: too few to say."
        return Part(QUESTION, finding, pd.DataFrame(), NOTES)
    left_out = len(rows) - len(minutes)
    gone = (f"{counted(left_out, 'repair')} used words that the fit does not know.",) if left_out else ()
    return Part(QUESTION, _say(minutes), _by_symptom(minutes), (*NOTES, *gone))


def replay_minutes(rows: pd.DataFrame, posterior: Posterior, plan_of: PlanOf, vocabulary: Vocabulary) -> pd.DataFrame:
    """A row a repair: symptom (in words), plan, made (minutes); what vocabulary or fit do not know is left out.

    Parameters
    ----------
    rows : frame with the columns of `sql/review_repairs.sql`
    """
    repairs = [repair for repair in _repairs(rows) if _is_known(repair, vocabulary)]
    repairs.sort(key=lambda repair: repair.case.symptom)
    parts = []
    for case, alike in groupby(repairs, key=lambda repair: repair.case):
        try:
            minutes = replay_plan(posterior, list(alike), vocabulary, plan_of=plan_of)
        except InputError:
            # added to the vocabulary after the fit: the next fit will know it
            continue
        names = np.full(len(minutes), vocabulary.symptoms[case.symptom].name)
        parts.append(pd.DataFrame({"symptom": names, "plan": minutes[:, 0], "made": minutes[:, 1]}))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=["symptom", "plan", "made"])


def _repairs(rows: pd.DataFrame) -> list[DoneRepair]:
    cells = zip(rows["symptom"], rows["suspect"], rows["results"], strict=True)
    return [
        DoneRepair(Case(symptom), tuple(CheckResult(*part.split("=")) for part in results.split(";")), suspect)
        for symptom, suspect, results in cells
    ]


def _is_known(repair: DoneRepair, vocabulary: Vocabulary) -> bool:
    if repair.case.symptom not in vocabulary.symptoms:
        return False
    known = all(result.check in vocabulary.checks for result in repair.results)
    return known and repair.suspect in ("", *vocabulary.suspects_of(repair.case.symptom))


def _say(minutes: pd.DataFrame) -> str:
    saved, low, high = saved_share(minutes[["plan", "made"]].to_numpy(dtype=float))
    plan, made = minutes_phrase(float(minutes["plan"].mean())), minutes_phrase(float(minutes["made"].mean()))
    both = f"On {counted(len(minutes), 'repair')} the plan would have taken at most {plan} each; what was done, {made}"
    if low <= 0.0 <= high:
        return f"{both}: too near to each other to tell them apart."
    if saved < 0.0:
        return f"{both}: this short comparison shows no saving."
    least, most = in_ten(max(low, 0.0)).removeprefix("about "), in_ten(min(high, 1.0)).removeprefix("about ")
    return f"{both}: it would have saved {in_ten(saved)} of the minutes (between {least} and {most})."


def _by_symptom(minutes: pd.DataFrame) -> pd.DataFrame:
    table = minutes.groupby("symptom").agg(repairs=("plan", "size"), plan=("plan", "mean"), made=("made", "mean"))
    table = table.sort_values("repairs", ascending=False, kind="stable").reset_index().round(1)
    return table.rename(columns={"plan": "by the plan (min each)", "made": "as made (min each)"})
