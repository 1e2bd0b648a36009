"""Installing a prior pack: it answers at once, and counts as one contributor in every later fit."""

from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from uuid import uuid4

import pandas as pd

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.bundle_files import Manifest
from pipelines.bundle_tables import COLUMNS, Counts
from pipelines.bundle_words import translate
from pipelines.bundles import keep_counts, retire
from pipelines.catalogue import read_vocabulary
from pipelines.live import fit_gaps
from pipelines.packs import Pack, load_pack
from pipelines.pool import CURRENT, OWN, PACK, SUPERSEDED, known_bundles
from pipelines.posteriors import PACK_FIT, FitRow, save_posterior
from pipelines.settings import Settings
from pipelines.signatures import refuse_other_hand, signer_in_words
from pipelines.store import reading, run_query, utc_now, writing
from pipelines.wording import counted


def install_pack(settings: Settings, path: Path) -> tuple[str, ...]:
    """The pack answers from now on if this store has no fit yet; in every later fit it counts as one contributor.

    Raises
    ------
    InputError
        When it is damaged or changed, was here before, would count tickets twice, speaks of another vocabulary, or the
        pack that is installed was signed by another hand.
    """
    pack, vocabulary = load_pack(path), read_vocabulary(settings.vocabulary_folder)
    manifest = pack.bundle.manifest
    known = known_bundles(settings)
    same = known[known["checksum"] == pack.bundle.checksum]
    if (same["state"] == CURRENT).any():
        return (f"{path.name} is installed already; nothing changed.",)
    if not same.empty:
        raise InputError(f"'{path.name}' was here before, and was withdrawn or replaced. Ask for a newer pack.")
    _refuse_other_pack(known, pack)
    _refuse_gaps(pack, vocabulary)
    _refuse_double(settings, manifest)
    share = min(1.0, pack.worth / manifest.ticket_count)
    counts = _scaled(translate(pack.bundle.counts, manifest.terms, vocabulary, {}), share)
    with reading(settings.store_path) as con:
        serves = run_query(con, "newest_published_fit").empty
    with writing(settings.store_path) as con:
        for old in _installed(run_query(con, "bundles_known"))["contributor"]:
            retire(con, old, SUPERSEDED)
        keep_counts(con, manifest, counts, kind=PACK, checksum=pack.bundle.checksum, state=CURRENT,
                    public_key=pack.bundle.public_key)  # fmt: skip
    return (
        f"{path.name} is installed: {counted(manifest.ticket_count, 'ticket')} of the pool.",
        _serve(settings, pack) if serves
        else "Your own fit goes on being served; the pack counts from the next one on: run `faultodds pool fit`.",
        f"In your own fits it counts for {counted(round(share * manifest.ticket_count), 'ticket')}, as one more shop "
        "beside yours.",
        signer_in_words(pack.bundle.public_key),
    )  # fmt: skip


def _serve(settings: Settings, pack: Pack) -> str:
    fit_id = f"{PACK_FIT}{uuid4().hex[:12]}"
    row = FitRow(fit_id, utc_now(), "", "", version("faultodds"), seconds=0.0, last_order=0)
    save_posterior(settings, replace(pack.posterior, fit_id=fit_id), row)
    return "It answers from now on, and every ticket you store moves its odds."


def _refuse_other_pack(known: pd.DataFrame, pack: Pack) -> None:
    """Only the pack that would be replaced binds: whoever changes to another club withdraws it, knowingly."""
    installed = _installed(known)
    code = "".join(installed["contributor"].head(1))
    way_out = f"ask whoever gave it, or run `faultodds bundle withdraw {code}` first if it is another club's"
    refuse_other_hand(installed["public_key"], pack.bundle.public_key, whose="packs of your club", way_out=way_out)


def _refuse_gaps(pack: Pack, vocabulary: Vocabulary) -> None:
    gaps = fit_gaps(pack.posterior, vocabulary)
    if gaps:
        raise InputError(
            f"The pack speaks of another vocabulary: {gaps[0]}. Take the pool's vocabulary, or read its bundles with "
            "a mapping instead (`faultodds bundle read FILE --propose MAP`)."
        )


def _refuse_double(settings: Settings, manifest: Manifest) -> None:
    """Nobody's tickets may count twice."""
    known = known_bundles(settings)
    inside = set(manifest.terms.get("contributor", {}))
    counting = known[(known["state"] == CURRENT) & known["contributor"].isin(inside)]
    if (counting["kind"] == OWN).any():
        raise InputError("Your own tickets are in this pack already: they would count twice. Read the bundles instead.")
    if not counting.empty:
        raise InputError(
            f"The bundle of {counting['contributor'].iloc[0]} is in your pool and in this pack: it would count twice. "
            "Withdraw the bundles first (`faultodds bundle withdraw CODE`), or leave the pack."
        )


def _scaled(counts: Counts, share: float) -> Counts:
    scaled = {name: getattr(counts, name) for name in COLUMNS}
    return Counts(**{name: frame.assign(tickets=frame["tickets"] * share) for name, frame in scaled.items()})


def _installed(known: pd.DataFrame) -> pd.DataFrame:
    return known[(known["kind"] == PACK) & (known["state"] == CURRENT)]
