"""What an edited vocabulary changes in the odds before any ticket, and whether the present fit can still be asked."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from analytics.case import Case
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.live import fit_gaps
from pipelines.posteriors import has_published_fit, load_newest
from pipelines.prior_sources import RULES_NAME, load_prior
from pipelines.settings import OWN, Settings
from pipelines.vocabulary_frames import Frames, write_frames
from pipelines.wording import change_phrase, in_ten

CHANGE_COLUMNS = ["symptom", "suspect", "symptom_name", "suspect_name", "before", "after"]
# Smaller changes are not worth a sentence.
LEAST_CHANGE = 0.005


def prior_shares(settings: Settings, vocabulary: Vocabulary) -> pd.Series:
    """P(suspect | symptom) before any ticket, index (symptom, suspect)."""
    return _shares(load_prior(settings, vocabulary), vocabulary)


def compare_priors(before: Frames, after: Frames) -> pd.DataFrame:
    """How the odds of every complaint that an edit touches would change before any ticket.

    Parameters
    ----------
    before, after : tables without contradictions, tidied

    Returns
    -------
    DataFrame with `CHANGE_COLUMNS`, the largest change first; `before`, `after` from 0 to 1, 0 for a suspect that is
    not on the list of the complaint
    """
    touched = _touched_symptoms(before, after)
    if not touched:
        return pd.DataFrame(columns=CHANGE_COLUMNS)
    (old, old_words), (new, new_words) = _priors_of(before), _priors_of(after)
    both = pd.concat([old.rename("before"), new.rename("after")], axis=1).fillna(0.0).reset_index()
    both = both[both["symptom"].isin(touched)]
    for field in ("symptom", "suspect"):
        names = {
            code: word.name for words in (old_words, new_words) for code, word in getattr(words, f"{field}s").items()
        }
        both[f"{field}_name"] = both[field].map(names)
    size = (both["after"] - both["before"]).abs()
    return (
        both.assign(size=size)
        .sort_values("size", ascending=False, kind="stable")[CHANGE_COLUMNS]
        .reset_index(drop=True)
    )


def say_odds_changes(changes: pd.DataFrame, *, most: int = 6) -> list[str]:
    """The largest changes as sentences: "Coil open for 'Grab is stuck': from about 1 in 20 to about 1 in 10"."""
    told = changes[(changes["after"] - changes["before"]).abs() >= LEAST_CHANGE].head(most)
    return [
        f"{row.suspect_name} for '{row.symptom_name}': {_say_change(row.before, row.after)}"
        for row in told.itertuples()
    ]


def say_fit_state(settings: Settings, vocabulary: Vocabulary) -> tuple[str, ...]:
    """What the present fit makes of this vocabulary; nothing when there is no fit yet."""
    if not settings.store_path.exists() or not has_published_fit(settings):
        return ()
    try:
        gaps = fit_gaps(load_newest(settings), vocabulary)
    except InputError as error:
        return (str(error),)
    if gaps:
        return (
            f"The present fit cannot answer for these lists: {gaps[0]}. After saving, the bench waits for the next fit "
            "(about a minute).",
        )
    return ("Until then the present fit can still be asked.",)


def say_edited_fit(settings: Settings, after: Frames) -> tuple[str, ...]:
    """`say_fit_state` of tables that are not saved yet and do not contradict each other."""
    return say_fit_state(settings, _vocabulary_of(after))


def _vocabulary_of(frames: Frames) -> Vocabulary:
    with tempfile.TemporaryDirectory() as name:
        write_frames(frames, Path(name))
        return read_vocabulary(Path(name))


def _priors_of(frames: Frames) -> tuple[pd.Series, Vocabulary]:
    with tempfile.TemporaryDirectory() as name:
        settings = Settings(Path(name))
        folder = settings.data_folder / OWN
        folder.mkdir()
        write_frames(frames, folder)
        vocabulary = read_vocabulary(folder)
        return prior_shares(settings, vocabulary), vocabulary


def _shares(posterior: Posterior, vocabulary: Vocabulary) -> pd.Series:
    found = {symptom: belief(posterior, Case(symptom=symptom), vocabulary) for symptom in vocabulary.symptoms}
    rows = [(s, code, share) for s, one in found.items() for code, share in zip(one.suspects, one.mean, strict=True)]
    return pd.DataFrame(rows, columns=["symptom", "suspect", "share"]).set_index(["symptom", "suspect"])["share"]


def _touched_symptoms(before: Frames, after: Frames) -> set[str]:
    """Complaints whose links or rules differ, or whose suspects became another part or another way to fail."""
    old, new = (dict(_prior_facts(frames)) for frames in (before, after))
    return {symptom for symptom in {*old, *new} if old.get(symptom) != new.get(symptom)}


def _prior_facts(frames: Frames) -> Iterator[tuple[str, object]]:
    links, rules = frames["links.csv"], frames[RULES_NAME]
    kinds = frames["suspects.csv"].set_index("suspect")[["component", "failure_mode"]].T.to_dict("list")
    for symptom in frames["symptoms.csv"]["symptom"]:
        listed = links[links["symptom"] == symptom]
        told = rules[rules["symptom"] == symptom].drop(columns="who")
        facts = sorted(
            (code, how, *kinds.get(code, ())) for code, how in zip(listed["suspect"], listed["strength"], strict=True)
        )
        yield symptom, (facts, sorted(map(tuple, told.to_numpy().tolist())))


def _say_change(before: float, after: float) -> str:
    if before == 0.0:
        return f"new on the list, {in_ten(after)}"
    return f"off the list, it was {in_ten(before)}" if after == 0.0 else change_phrase(before, after)
