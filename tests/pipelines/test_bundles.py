"""The pool stays right whatever bundles come, and a bundle that lies is refused."""

import hashlib
import json
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from analytics.case import CheckResult
from analytics.errors import InputError
from analytics.evidence import empty_evidence, make_evidence, write_possible
from analytics.model_inputs import model_inputs
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.bundle_files import MANIFEST, load_bundle
from pipelines.bundle_tables import CELLS, COLUMNS, SIDES, pack_table
from pipelines.bundle_words import read_mapping, write_mapping
from pipelines.bundle_writing import Wish, write_bundle
from pipelines.bundles import missing_words, read_bundle, withdraw
from pipelines.catalogue import write_vocabulary
from pipelines.fit_question import read_question
from pipelines.intake import save_ticket
from pipelines.pack_installing import install_pack
from pipelines.packs import DRAWS, FACTS, load_pack, write_pack
from pipelines.pool import read_pool_evidence
from pipelines.posteriors import load_newest
from pipelines.review_club import review_club
from pipelines.settings import Settings

pytestmark = pytest.mark.slow

PLAIN = Wish()
NEW_YEAR = date(2024, 1, 15)

Shop = Callable[..., Settings]


@pytest.fixture
def shop(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Shop:
    """`shop(name, count)`: a store of its own with so many tickets more; `year` says when they were opened."""

    def make(name: str, count: int, *, year: int = 2022, vocabulary: Vocabulary = tiny_vocabulary) -> Settings:
        settings = Settings(tmp_path / name)
        if not settings.store_path.exists():
            write_vocabulary(vocabulary, settings.data_folder / "vocabulary")
        for at in range(count):
            ticket = TicketRow(
                shop=name, ticket_number=f"{year}-{at}", opened_on=date(year, 5, 1), symptom="stuck", family="crane",
                suspects=(("plug_loose", "switch_dirty")[at % 2],), confirmation="cured", result="fixed",
            )  # fmt: skip
            save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=date(2030, 1, 1))
        return settings

    return make


def _write(settings: Settings, path: Path, today: date = NEW_YEAR, wish: Wish = PLAIN) -> Path:
    write_bundle(settings, path, shop=settings.data_folder.name, today=today, wish=wish)
    return path


def _pool(settings: Settings, vocabulary: Vocabulary) -> float:
    return float(read_pool_evidence(settings, vocabulary).cells["weight"].sum())


def test_the_same_an_older_a_newer_a_corrected_and_a_withdrawn_bundle_leave_the_pool_right(
    shop: Shop, tmp_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    giver, club = shop("Harbour", 12), shop("Pier", 3)
    first = _write(giver, tmp_path / "1.zip")
    shop("Harbour", 6, year=2023)
    second = _write(giver, tmp_path / "2.zip", date(2025, 1, 3))
    third = _write(giver, tmp_path / "3.zip", date(2025, 1, 3), Wish(anew=1))
    code = load_bundle(first).manifest.contributor
    assert "is in the pool: 12" in read_bundle(club, first, mapping={})[0]
    assert "already" in read_bundle(club, first, mapping={})[0]
    assert _pool(club, tiny_vocabulary) == 12
    assert "replaces" in read_bundle(club, second, mapping={})[0]
    assert "replaced by a newer" in read_bundle(club, first, mapping={})[0]
    assert _pool(club, tiny_vocabulary) == 18
    read_bundle(club, third, mapping={})
    assert _pool(club, tiny_vocabulary) == 18
    withdraw(club, code)
    assert _pool(club, tiny_vocabulary) == 0
    assert "stays out" in read_bundle(club, third, mapping={})[0]
    assert _pool(club, tiny_vocabulary) == 0


def test_an_older_bundle_that_comes_late_does_not_count(
    shop: Shop, tmp_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    giver, club = shop("Harbour", 12), shop("Pier", 3)
    first = _write(giver, tmp_path / "1.zip")
    shop("Harbour", 6, year=2023)
    second = _write(giver, tmp_path / "2.zip", date(2025, 1, 3))
    read_bundle(club, second, mapping={})
    assert "older" in read_bundle(club, first, mapping={})[0]
    assert _pool(club, tiny_vocabulary) == 18


def test_a_shop_s_own_bundle_never_counts_beside_its_tickets(shop: Shop, tmp_path: Path) -> None:
    giver = shop("Harbour", 12)
    path = _write(giver, tmp_path / "1.zip")
    with pytest.raises(InputError, match="your own store"):
        read_bundle(giver, path, mapping={})
    assert read_question(giver).evidence.ticket_count == 12


@pytest.mark.slow
def test_the_next_fit_learns_from_the_pool_with_each_contributor_as_a_shop(shop: Shop, tmp_path: Path) -> None:
    giver, club = shop("Harbour", 12), shop("Pier", 3)
    path = _write(giver, tmp_path / "1.zip")
    read_bundle(club, path, mapping={})
    evidence = read_question(club).evidence
    assert evidence.shops == ("Pier", load_bundle(path).manifest.contributor)
    assert evidence.cells["weight"].sum() == 15


def test_a_signed_contributor_cannot_be_replaced_by_another_hand(shop: Shop, tmp_path: Path) -> None:
    giver, club = shop("Harbour", 12), shop("Pier", 3)
    first = _write(giver, tmp_path / "1.zip", wish=Wish(signed=1))
    read_bundle(club, first, mapping={})
    shop("Harbour", 6, year=2023)
    shutil.rmtree(giver.data_folder / "club_keys")
    forged = _write(giver, tmp_path / "2.zip", date(2025, 1, 3))
    with pytest.raises(InputError, match="were signed, and this one is not"):
        read_bundle(club, forged, mapping={})


def test_a_changed_byte_breaks_the_signature(shop: Shop, tmp_path: Path) -> None:
    path = _write(shop("Harbour", 12), tmp_path / "1.zip", wish=Wish(signed=1))
    _rewrite(
        path, lambda entries: entries | {MANIFEST: entries[MANIFEST].replace(b'"to_year": 2023', b'"to_year": 2022')}
    )
    with pytest.raises(InputError, match="signature does not match"):
        load_bundle(path)


def _rewrite(path: Path, change: Callable[[dict[str, bytes]], dict[str, bytes]], how: int = zipfile.ZIP_STORED) -> None:
    with zipfile.ZipFile(path) as box:
        entries = {name: box.read(name) for name in box.namelist()}
    with zipfile.ZipFile(path, "w", how) as box:
        for name, content in change(entries).items():
            box.writestr(name, content)


def _told(entries: dict[str, bytes], **facts: object) -> dict[str, bytes]:
    """A manifest that states other facts than it was written with."""
    return entries | {MANIFEST: json.dumps(json.loads(entries[MANIFEST]) | facts).encode()}


LIES: dict[str, tuple[Callable[[dict[str, bytes]], dict[str, bytes]], str]] = {
    "counts": (lambda e: _told(e, ticket_count=17), "do not add up"),
    "threshold": (lambda e: _told(e, threshold=50), "fewer"),
    "cells": (lambda e: e | {CELLS: e[CELLS] + b"x"}, "not those"),
    "path": (lambda e: e | {"../../evil": b"x"}, "other files"),
    "no manifest": (lambda e: {CELLS: e[CELLS]}, "missing"),
    "no json": (lambda e: e | {MANIFEST: b"[1"}, "cannot be read"),
    "deep json": (lambda e: e | {MANIFEST: b"[" * 100_000}, "cannot be read"),
    "number": (
        lambda e: e | {MANIFEST: json.dumps(json.loads(e[MANIFEST]) | {"number": -1}).encode()},
        "cannot be read",
    ),
    "newer": (lambda e: e | {MANIFEST: json.dumps({"schema_version": 99}).encode()}, "version 99"),
    "no sides": (lambda e: {name: e[name] for name in (MANIFEST, CELLS)}, "other tables"),
    "sides": (lambda e: e | {SIDES["checks"]: e[SIDES["checks"]] + b"x"}, "not those"),
    "few by family": (lambda e: _with_side(e, "families", ("", "plug_loose", "crane", "", 2)), "fewer"),
    "more by family": (lambda e: _with_side(e, "families", ("", "plug_loose", "crane", "", 900)), "more tickets"),
    "outcome": (lambda e: _with_side(e, "checks", ("look_at_plug", "at_fault", "burnt", 9)), "outcome that does not"),
    "endless": (lambda e: _with_side(e, "minutes", ("look_at_plug", 9, 700.0, 0.0)), "impossible number"),
}


def _with_side(entries: dict[str, bytes], side: str, row: tuple[object, ...]) -> dict[str, bytes]:
    """A bundle that states one side as it likes, checksum and rows included."""
    content = pack_table(side, pd.DataFrame([row], columns=list(COLUMNS[side])))
    changed = entries | {SIDES[side]: content}
    checksum = hashlib.sha256(b"".join(changed[file] for file in SIDES.values())).hexdigest()
    rows = json.loads(entries[MANIFEST])["sides"] | {side: 1}
    return _told(changed, sides_checksum=checksum, sides=rows)


@pytest.mark.parametrize("name", LIES)
def test_a_bundle_that_lies_is_refused_in_a_sentence(name: str, shop: Shop, tmp_path: Path) -> None:
    path = _write(shop("Harbour", 12), tmp_path / "1.zip")
    change, words = LIES[name]
    _rewrite(path, change)
    with pytest.raises(InputError, match=words):
        load_bundle(path)


def test_a_bundle_of_the_first_version_is_still_read(shop: Shop, tmp_path: Path, tiny_vocabulary: Vocabulary) -> None:
    """Such a file as it was written then: cells alone, and a manifest that knows of nothing else."""
    path, club = _write(shop("Harbour", 12), tmp_path / "1.zip"), shop("Pier", 3)

    def aged(entries: dict[str, bytes]) -> dict[str, bytes]:
        new = ("parts", "sides", "sides_checksum")
        told = {name: value for name, value in json.loads(entries[MANIFEST]).items() if name not in new}
        return {MANIFEST: json.dumps(told | {"schema_version": 1}).encode(), CELLS: entries[CELLS]}

    _rewrite(path, aged)
    assert "is in the pool: 12" in read_bundle(club, path, mapping={})[0]
    assert read_pool_evidence(club, tiny_vocabulary).cells.groupby("suspect")["weight"].sum().to_dict() == {
        "plug_loose": 6.0, "switch_dirty": 6.0,
    }  # fmt: skip


def test_the_pool_counts_what_checks_told_and_how_long_they_took(
    shop: Shop, tmp_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    """By hand: 12 plugs looked at, found 9 times and missed 3 (too few to tell), 6 to 8 minutes; 20 switches left."""
    giver, club = shop("Harbour", 20), shop("Pier", 3)
    for at in range(12):
        look = CheckResult("look_at_plug", "fault_found" if at < 9 else "clear", 6.0 + at % 3)
        ticket = TicketRow(
            shop="Harbour", ticket_number=f"c{at}", opened_on=date(2022, 6, 1), symptom="stuck", family="crane",
            suspects=("plug_loose",), confirmation="cured", result="fixed", checks=(look,),
        )  # fmt: skip
        save_ticket(ticket, store_path=giver.store_path, vocabulary=tiny_vocabulary, today=date(2030, 1, 1))
    bundle = load_bundle(_write(giver, tmp_path / "1.zip"))
    assert bundle.counts.checks.values.tolist() == [["look_at_plug", "at_fault", "fault_found", 9]]
    assert bundle.counts.minutes["tickets"].tolist() == [10]
    read_bundle(club, tmp_path / "1.zip", mapping={})
    evidence = read_pool_evidence(club, tiny_vocabulary)
    told = evidence.check_counts.set_index(["suspect", "outcome"])["count"]
    assert told["plug_loose", "fault_found"] == 9
    # the missed ones are told by nobody: what the seeded 8 in 10 and the limit of 4 let expect
    assert 1 < told["plug_loose", "clear"] < 4
    minutes = evidence.check_minutes.iloc[0]
    assert np.exp(minutes["log_sum"] / minutes["count"]) == pytest.approx(7.0, rel=0.02)


def test_a_bundle_that_would_grow_in_memory_is_refused_unread(shop: Shop, tmp_path: Path) -> None:
    path = _write(shop("Harbour", 12), tmp_path / "1.zip")
    _rewrite(path, lambda entries: entries, zipfile.ZIP_DEFLATED)
    with pytest.raises(InputError, match="compressed"):
        load_bundle(path)
    packed = _write(shop("Harbour", 0), tmp_path / "2.zip")

    def squeeze(entries: dict[str, bytes]) -> dict[str, bytes]:
        out = pa.BufferOutputStream()
        pq.write_table(pq.read_table(pa.BufferReader(entries[CELLS])), out, compression="zstd")
        content = out.getvalue().to_pybytes()
        return _told(entries | {CELLS: content}, cells_checksum=hashlib.sha256(content).hexdigest())

    _rewrite(packed, squeeze)
    with pytest.raises(InputError, match="compressed"):
        load_bundle(packed)


def test_two_vocabularies_meet_through_a_mapping_with_proposals(
    shop: Shop, tmp_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    """The giver calls the jammed grab and its plug otherwise; nothing is lost, names are proposed."""
    renamed = {"plug_loose": replace(tiny_vocabulary.suspects["plug_loose"], code="plug_off", name="Plug is loose")}
    suspects = {renamed.get(k, s).code: renamed.get(k, s) for k, s in tiny_vocabulary.suspects.items()}
    new = {k: "plug_off" if k == "plug_loose" else k for k in tiny_vocabulary.suspects}
    checks = {
        code: replace(check, reveals={new[k]: p for k, p in check.reveals.items()},
                      cures={new[k]: p for k, p in check.cures.items()})
        for code, check in tiny_vocabulary.checks.items()
    }  # fmt: skip
    links = {(s, new[k]): strength for (s, k), strength in tiny_vocabulary.links.items()}
    other = replace(tiny_vocabulary, suspects=suspects, checks=checks, links=links)
    giver = Settings(tmp_path / "Harbour")
    write_vocabulary(other, giver.data_folder / "vocabulary")
    for at in range(12):
        ticket = TicketRow(shop="Harbour", ticket_number=str(at), opened_on=date(2022, 5, 1), symptom="stuck",
                           suspects=("plug_off",), confirmation="cured", result="fixed")  # fmt: skip
        save_ticket(ticket, store_path=giver.store_path, vocabulary=other, today=date(2030, 1, 1))
    path, club = _write(giver, tmp_path / "1.zip"), shop("Pier", 3)
    with pytest.raises(InputError, match="'Plug is loose' first"):
        read_bundle(club, path, mapping={})
    proposals = missing_words(load_bundle(path), tiny_vocabulary)
    assert [(p.field, p.code, p.maps_to) for p in proposals] == [("suspect", "plug_off", "plug_loose")]
    write_mapping(tmp_path / "map.csv", proposals)
    read_bundle(club, path, mapping=read_mapping(tmp_path / "map.csv", tiny_vocabulary))
    cells = read_pool_evidence(club, tiny_vocabulary).cells
    assert cells.set_index("suspect")["weight"].to_dict() == {"plug_loose": 12.0}


def test_the_model_is_told_of_the_noise(shop: Shop, tmp_path: Path, tiny_vocabulary: Vocabulary) -> None:
    """A count of about 40 with noise of variance v tells as much as 40 * 40 / (40 + v) without, by hand."""
    giver, club = shop("Harbour", 80), shop("Pier", 3)
    _write(giver, tmp_path / "1.zip", wish=Wish(epsilon=2.0, threshold=1))
    read_bundle(club, tmp_path / "1.zip", mapping={})
    bundle = load_bundle(tmp_path / "1.zip")
    # each of the two tables has half of the epsilon
    variance = 2 * np.exp(-1.0) / (1 - np.exp(-1.0)) ** 2
    assert bundle.manifest.noise_variance == pytest.approx(variance)
    cells = read_pool_evidence(club, tiny_vocabulary).cells
    cells = cells[(cells["symptom"] == "stuck") & (cells["shop"] == bundle.manifest.contributor)]
    found = cells.groupby("suspect")["weight"].sum()
    told = bundle.cells[bundle.cells["symptom"] == "stuck"].set_index("suspect")["tickets"]
    for suspect in ("plug_loose", "switch_dirty"):
        assert found[suspect] == pytest.approx(told[suspect] * 40 / (40 + variance), abs=3.0)
    assert found.sum() < told.sum()
    cranes = cells[cells["family"] == "crane"]["weight"].sum()
    assert cranes > 0.85 * cells[cells["suspect"] != ""]["weight"].sum()


def test_families_with_noise_stand_beside_cells_by_threshold(
    shop: Shop, tmp_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    giver, club = shop("Harbour", 80), shop("Pier", 3)
    _write(giver, tmp_path / "1.zip", wish=Wish(epsilon=2.0))
    bundle = load_bundle(tmp_path / "1.zip")
    assert bundle.cells["tickets"].tolist() == [40, 40]
    # all epsilon is on the one table; its variance by hand
    assert bundle.manifest.noise_variance == pytest.approx(2 * np.exp(-2.0) / (1 - np.exp(-2.0)) ** 2)
    # how many the exact table would have named must not be told
    assert bundle.manifest.rolled_up["sides"] == 80
    read_bundle(club, tmp_path / "1.zip", mapping={})
    cells = read_pool_evidence(club, tiny_vocabulary).cells
    assert cells["weight"].sum() == pytest.approx(80)
    assert cells[cells["family"] == "crane"]["weight"].sum() > 70


def test_a_noisy_bundle_grows_by_new_years_and_makes_a_pack(
    shop: Shop, tmp_path: Path, tiny_posterior: Posterior
) -> None:
    giver, club = shop("Harbour", 80), shop("Pier", 3)
    _write(giver, tmp_path / "1.zip", wish=Wish(epsilon=4.0, threshold=1))
    before = load_bundle(tmp_path / "1.zip").cells.set_index(["symptom", "suspect"])["tickets"]
    shop("Harbour", 20, year=2024)
    _write(giver, tmp_path / "2.zip", date(2025, 1, 15), Wish(epsilon=4.0, threshold=1))
    bundle = load_bundle(tmp_path / "2.zip")
    after = bundle.cells.set_index(["symptom", "suspect"])["tickets"]
    # what was told before is told again, noise and all
    assert after.reindex(before.index).ge(before).all()
    assert bundle.manifest.parts == 2
    with pytest.raises(InputError, match="mixing two promises"):
        _write(giver, tmp_path / "3.zip", date(2026, 1, 15), Wish(epsilon=2.0, threshold=1))
    read_bundle(club, tmp_path / "2.zip", mapping={})
    write_pack(club, tmp_path / "pack.zip", tiny_posterior)
    assert load_pack(tmp_path / "pack.zip").bundle.manifest.ticket_count == bundle.manifest.ticket_count


def test_a_rolled_up_suspect_is_as_likely_as_any_that_it_may_be(tiny_vocabulary: Vocabulary) -> None:
    columns = ["symptom", "family", "shop", "age_band", "suspect", "confirmation", "results", "others", "weight"]
    cell = ("stuck", "", "x", "unknown", "", "", write_possible(["coil_open", "switch_dirty"]), "", 7.0)
    none = empty_evidence()
    evidence = make_evidence(
        pd.DataFrame([cell], columns=columns),
        check_counts=none.check_counts,
        check_minutes=none.check_minutes,
        companions=none.companions,
        ticket_count=7,
    )
    likelihood = model_inputs(evidence, tiny_vocabulary).tickets.pattern_likelihood[0]
    # list of `stuck`: plug, switch, coil, something else; 5 % were guesses among the four
    np.testing.assert_allclose(likelihood[:4], [0.025, 0.975, 0.975, 0.025])


def test_a_new_shop_with_a_pack_answers_without_a_ticket_or_a_fit(
    shop: Shop, tmp_path: Path, tiny_posterior: Posterior
) -> None:
    giver, club = shop("Harbour", 12), shop("Pier", 8)
    read_bundle(club, _write(giver, tmp_path / "1.zip"), mapping={})
    _write(club, tmp_path / "own.zip")
    write_pack(club, tmp_path / "pack.zip", tiny_posterior, worth=10)
    content = (tmp_path / "pack.zip").read_bytes()
    assert b"Harbour" not in content
    assert b"Pier" not in content
    pack = load_pack(tmp_path / "pack.zip")
    assert pack.bundle.manifest.ticket_count == 20
    assert pack.posterior.draws.sizes["shop"] == 0
    new = shop("Quay", 0)
    assert "answers from now on" in install_pack(new, tmp_path / "pack.zip")[1]
    assert "installed already" in install_pack(new, tmp_path / "pack.zip")[0]
    assert load_newest(new).draw_count > 0
    # its own next fit: ten tickets' worth of the pool beside what it has itself
    shop("Quay", 4)
    cells = read_question(new).evidence.cells
    assert cells.groupby("shop")["weight"].sum().to_dict() == pytest.approx(
        {"Quay": 4.0, pack.bundle.manifest.contributor: 10.0}
    )


def test_a_pack_never_counts_tickets_twice(shop: Shop, tmp_path: Path, tiny_posterior: Posterior) -> None:
    giver, club, other = shop("Harbour", 12), shop("Pier", 8), shop("Quay", 3)
    first = _write(giver, tmp_path / "1.zip")
    read_bundle(club, first, mapping={})
    write_pack(club, tmp_path / "pack.zip", tiny_posterior, worth=10)
    with pytest.raises(InputError, match="already"):
        install_pack(giver, tmp_path / "pack.zip")
    install_pack(other, tmp_path / "pack.zip")
    with pytest.raises(InputError, match="count twice"):
        read_bundle(other, first, mapping={})


@pytest.fixture
def packing(shop: Shop, tmp_path: Path, tiny_posterior: Posterior) -> Callable[[str, int], Path]:
    """Writes a pack of one bundle under a name, signed (1) or as before (0); the club's store is at Pier."""
    club = shop("Pier", 8)
    read_bundle(club, _write(shop("Harbour", 12), tmp_path / "1.zip"), mapping={})

    def write(name: str, signed: int) -> Path:
        write_pack(club, tmp_path / name, tiny_posterior, worth=10, signed=signed)
        return tmp_path / name

    return write


Packing = Callable[[str, int], Path]


def test_a_pack_is_signed_by_the_hand_that_signed_before(shop: Shop, packing: Packing) -> None:
    unsigned, first, second = packing("0.zip", 0), packing("1.zip", 1), packing("2.zip", 0)
    keys = [load_pack(path).bundle.public_key for path in (unsigned, first, second)]
    assert keys[0] == ""
    # RFC 8032, section 5.1.5: a public key has 32 bytes
    assert len(bytes.fromhex(keys[1])) == 32
    assert keys[2] == keys[1]
    new = shop("Quay", 0)
    assert install_pack(new, unsigned)[-1] == "Not signed."
    assert install_pack(new, first)[-1] == f"Signed by {keys[1]}."
    assert install_pack(new, second)[-1] == f"Signed by {keys[1]}."


@pytest.mark.parametrize(("signs_now", "says"), [(0, "and this one is not"), (1, "by another key")])
def test_a_signed_pack_is_not_replaced_by_another_hand(shop: Shop, packing: Packing, signs_now: int, says: str) -> None:
    new = shop("Quay", 0)
    first = packing("1.zip", 1)
    install_pack(new, first)
    shutil.rmtree(shop("Pier", 0).data_folder / "club_keys")
    other = packing("2.zip", signs_now)
    code = load_pack(first).bundle.manifest.contributor
    with pytest.raises(InputError, match=f"Earlier packs of your club were signed,? {says}.*withdraw {code}"):
        install_pack(new, other)
    withdraw(new, code)
    assert "is installed" in install_pack(new, other)[0]


@pytest.mark.parametrize("changed", ["worth", "draws", "counts"])
def test_whatever_is_changed_in_a_signed_pack_breaks_its_signature(packing: Packing, changed: str) -> None:
    path = packing("1.zip", 1)

    def change(entries: dict[str, bytes]) -> dict[str, bytes]:
        facts = json.loads(entries[FACTS])
        if changed == "counts":
            return _told(entries, to_year=2022)
        if changed == "worth":
            return entries | {FACTS: json.dumps(facts | {"worth": 99_999}, sort_keys=True).encode()}
        draws = entries[DRAWS] + b" "
        facts |= {"draws_checksum": hashlib.sha256(draws).hexdigest()}
        return entries | {DRAWS: draws, FACTS: json.dumps(facts, sort_keys=True).encode()}

    _rewrite(path, change)
    with pytest.raises(InputError, match="signature does not match"):
        load_pack(path)


def test_the_club_figures_say_what_is_missing_and_then_who_gave_what(shop: Shop, tmp_path: Path) -> None:
    club = shop("Pier", 8)
    assert "Nobody" in review_club(club, today=NEW_YEAR)[0].finding
    read_bundle(club, _write(shop("Harbour", 12), tmp_path / "1.zip"), mapping={})
    given, rolled, differs, joined = review_club(club, today=NEW_YEAR)
    assert given.finding == "1 bundle with 12 tickets count now; none of them came from this store."
    assert len(rolled.table) == 1
    assert "pool fit" in differs.finding
    assert "pool fit" in joined.finding
