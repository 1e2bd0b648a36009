"""The club's figures: who gave how much, what is rolled up, where this shop differs, what joining did to its odds."""

import json
from collections.abc import Mapping
from datetime import date

import pandas as pd
import xarray as xr

from analytics.case import Case
from analytics.model_inputs import NO_MODE
from analytics.posterior import Posterior
from analytics.rollup_cells import LEVELS
from analytics.shop_differences import ModeDifference, compare_shop
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.pool import CURRENT, OWN, PACK, known_bundles
from pipelines.posteriors import list_fits, load_posterior, posterior_path
from pipelines.review_parts import Part
from pipelines.settings import Settings
from pipelines.wording import counted, in_ten, odds_phrase

QUESTION_GIVEN = "Who contributed how much?"
QUESTION_ROLLED = "What is rolled up?"
QUESTION_DIFFERS = "Where does my shop differ from the pool?"
QUESTION_JOINED = "What did joining do to my odds?"
FACTOR, LOW, HIGH = "times as often here", "at least", "at most"
# Fits looked through for one with, and one without the pool.
FITS_BACK = 12
_NOBODY = (
    "Nobody else is in the pool yet. Read a bundle of another shop with `faultodds bundle read FILE`, or install a "
    "pack with `faultodds pack install FILE`."
)
_FIT_POOL = "No fit has learnt from the pool yet. Run `faultodds pool fit` (about a minute)."
_LOST = {
    "nothing": "as counted", "grade": "how sure it was", "checks": "the checks made", "age": "the age",
    "sides": "which complaint went with which family", "family": "the family",
    "suspect": "which suspect of several", "symptom": "the complaint",
}  # fmt: skip


def review_club(settings: Settings, *, today: date) -> tuple[Part, ...]:  # noqa: ARG001 - as every part
    """Four figures; each says what is missing when it cannot be made."""
    known = known_bundles(settings)
    current = known[known["state"] == CURRENT]
    others = tuple(current.loc[current["kind"] != OWN, "contributor"])
    parts = (_given(known), _rolled(current))
    if not others:
        return (*parts, *_missing(_NOBODY))
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    joined, alone = _fits(settings, others)
    if not joined:
        return (
            *parts,
            Part(QUESTION_DIFFERS, _FIT_POOL, pd.DataFrame()),
            Part(QUESTION_JOINED, _FIT_POOL, pd.DataFrame()),
        )
    posterior = load_posterior(settings, joined)
    return (*parts, _differs(posterior, others, vocabulary), _joined(settings, posterior, alone, others, vocabulary))


def _missing(reason: str) -> tuple[Part, ...]:
    return tuple(Part(question, reason, pd.DataFrame()) for question in (QUESTION_DIFFERS, QUESTION_JOINED))


def _given(known: pd.DataFrame) -> Part:
    current = known[known["state"] == CURRENT]
    table = pd.DataFrame(
        {
            "contributor": [_name(row.contributor, row.kind, row.shop) for row in known.itertuples()],
            "tickets": known["ticket_count"],
            "years": [f"{row.from_year} to {row.to_year}" for row in known.itertuples()],
            "bundle number": known["number"],
            "state": known["state"],
            "kept safe by": [_promise(json.loads(row.manifest), row.kind) for row in known.itertuples()],
            "signed": ["" if row.kind == OWN else "yes" if row.public_key else "no" for row in known.itertuples()],
        }
    ).reset_index(drop=True)
    total = int(current["ticket_count"].sum())
    own = int(current.loc[current["kind"] == OWN, "ticket_count"].sum())
    if current.empty:
        return Part(QUESTION_GIVEN, "Nobody has contributed yet. `faultodds bundle write FILE --shop NAME` writes your "
                    "own bundle.", table)  # fmt: skip
    share = "; all of them came from this store" if own == total else "; none of them came from this store"
    if 0 < own < total:
        share = f"; {in_ten(own / total)} of them came from this store"
    finding = f"{counted(len(current), 'bundle')} with {counted(total, 'ticket')} count now{share}."
    notes = ("Codes are random; the club does not know which shop is behind one.",)
    return Part(QUESTION_GIVEN, finding, table, notes)


def _promise(manifest: Mapping[str, float], kind: str) -> str:
    """What a bundle promises; a pack tells sums of bundles, each with its own promise."""
    if kind == PACK:
        return "its bundles"
    cells = "" if manifest["threshold"] == 1 else f"{manifest['threshold']} or more in a cell"
    noise = f"noise, epsilon {manifest['epsilon']:g}" if manifest["epsilon"] else ""
    return "; ".join(filter(None, (cells, noise)))


def _name(code: str, kind: str, shop: str) -> str:
    return shop if kind == OWN and shop else f"pack {code[-4:]}" if kind == PACK else code


def _rolled(current: pd.DataFrame) -> Part:
    rows = []
    for row in current.itertuples():
        levels = json.loads(row.manifest)["rolled_up"]
        lost = {_column(level): int(levels.get(level, 0)) for level in LEVELS}
        rows.append({"contributor": _name(row.contributor, row.kind, row.shop), **lost})
    table = pd.DataFrame(rows)
    if table.empty:
        return Part(QUESTION_ROLLED, "Nothing: no bundle counts yet.", table)
    total = table.drop(columns="contributor").sum()
    whole = float(total.sum())
    kept = whole - sum(float(total[_column(level)]) for level in ("checks", "suspect", "symptom"))
    finding = (
        f"Of the tickets in the pool {in_ten(min(1.0, kept / whole))} still name their suspect; the others say only "
        "which few it may have been, or what the complaint was."
    )
    notes = (
        "No number below the threshold leaves a shop: smaller ones are put together, never left out, so the totals "
        "stay true. Where there is noise, small numbers leave it too, but none that is exact.",
        "First goes how sure it was, then the age, the family, and last which suspect of several it was.",
    )
    return Part(QUESTION_ROLLED, finding, table, notes)


def _column(level: str) -> str:
    return _LOST[level] if level == "nothing" else f"lost at most {_LOST[level]}"


def _differs(posterior: Posterior, others: tuple[str, ...], vocabulary: Vocabulary) -> Part:
    members = [code for code in others if code in posterior.positions["shop"]]
    own = [shop for shop in posterior.positions["shop"] if shop not in others]
    if not own:
        return Part(QUESTION_DIFFERS, "This store has no tickets of its own yet, so there is nothing to compare.",
                    pd.DataFrame())  # fmt: skip
    rows, sure = [], []
    for shop in own:
        for one in compare_shop(posterior, shop, members):
            rows.append({"shop": shop, "failure mode": _mode_name(one.mode, vocabulary), FACTOR: round(one.factor, 2),
                         LOW: round(one.low, 2), HIGH: round(one.high, 2),
                         "more than chance": "yes" if one.is_sure else "no"})  # fmt: skip
            if one.is_sure:
                sure.append(_say_difference(shop, one, vocabulary))
    finding = " ".join(sure[:3]) or "Nowhere beyond chance: every difference could as well be luck."
    notes = ("A difference is named only when the odds against chance are 99 to 1; the range beside each holds in 9 of "
             "10 cases. Shops may also differ in what they write down, not only in what they meet.",)  # fmt: skip
    return Part(QUESTION_DIFFERS, finding, pd.DataFrame(rows), notes)


def _say_difference(shop: str, one: ModeDifference, vocabulary: Vocabulary) -> str:
    name = _mode_name(one.mode, vocabulary)
    between = f"between {one.low:.1f} and {one.high:.1f}"
    return f"{shop}: {name} about {one.factor:.1f} times as often as in the pool ({between})."


def _mode_name(mode: str, vocabulary: Vocabulary) -> str:
    return "something else" if mode == NO_MODE else vocabulary.failure_modes[mode].name.lower()


def _joined(
    settings: Settings, posterior: Posterior, alone: str, others: tuple[str, ...], vocabulary: Vocabulary
) -> Part:
    own = [shop for shop in posterior.positions["shop"] if shop not in others]
    if not alone:
        return Part(QUESTION_JOINED, "There is no fit from before joining to compare with: this shop began with the "
                    "pool.", pd.DataFrame())  # fmt: skip
    before = load_posterior(settings, alone)
    shop = own[0] if own else ""
    rows = [row for symptom in vocabulary.symptoms
            for row in _changes(Case(symptom, shop=shop), before, posterior, vocabulary)]  # fmt: skip
    table = pd.DataFrame(rows).sort_values("moved", ascending=False, ignore_index=True)
    narrower = 1.0 - float((table["width after"] / table["width before"]).median())
    top = table.iloc[0]
    change = f"{abs(narrower):.0%} {'narrower' if narrower > 0 else 'wider'}"
    far = int((table["outside the earlier range"] == "yes").sum())
    finding = (
        f"The ranges around the odds are {change} than without the pool. Most moved: {top['suspect']} at "
        f"'{top['complaint']}', from {top['without the pool']} to {top['with the pool']}."
    )
    moved = f"{counted(far, 'suspect')} of {len(table)} moved out of the earlier range."
    notes = (moved, f"Asked for {shop or 'a new shop'}, any machine, before any check; newest fit of each kind.")
    return Part(QUESTION_JOINED, finding, table.drop(columns=["moved", "width before", "width after"]).head(60), notes)


def _changes(case: Case, before: Posterior, after: Posterior, vocabulary: Vocabulary) -> list[dict[str, object]]:
    """Suspects of one complaint, without and with the pool."""
    if case.symptom not in before.positions["symptom"] or case.symptom not in after.positions["symptom"]:
        return []
    first, second = belief(before, case, vocabulary), belief(after, case, vocabulary)
    was, now = ({code: (float(b.mean[at]), float(b.interval(0.9)[0, at]), float(b.interval(0.9)[1, at]))
                 for at, code in enumerate(b.suspects)} for b in (first, second))  # fmt: skip
    return [
        {
            "complaint": vocabulary.symptoms[case.symptom].name,
            "suspect": vocabulary.suspects[code].name,
            "without the pool": odds_phrase(*was[code]),
            "with the pool": odds_phrase(*now[code]),
            "outside the earlier range": "no" if was[code][1] <= now[code][0] <= was[code][2] else "yes",
            "moved": abs(now[code][0] - was[code][0]),
            "width before": was[code][2] - was[code][1],
            "width after": now[code][2] - now[code][1],
        }
        for code in now
        if code in was
    ]


def _fits(settings: Settings, others: tuple[str, ...]) -> tuple[str, str]:
    """Newest published fit that knows a current contributor, and the newest that knows no bundle; "" = none."""
    fits = list_fits(settings)
    joined = alone = ""
    for fit_id in fits.loc[fits["published"], "fit_id"].head(FITS_BACK):
        path = posterior_path(settings, str(fit_id))
        if not path.exists() or str(fit_id).startswith("pack-"):
            continue
        with xr.open_dataset(path, engine="netcdf4") as lazy:
            shops = {str(shop) for shop in lazy["shop"].values}
        met = {shop for shop in shops if shop.startswith(("club-", "pack-"))}
        if met & set(others):
            joined = joined or str(fit_id)
        elif not met:
            alone = alone or str(fit_id)
    return joined, alone
