"""The shelf: uses counted by hand, the list of parts at the border, what to order, a donor, and the verbs."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analytics.case import CheckResult
from analytics.donor import Good
from analytics.errors import InputError
from analytics.vocabulary import Check, Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.cli import main
from pipelines.cli_shelf import read_good
from pipelines.donor_offers import Offer, value_offer
from pipelines.intake import save_ticket
from pipelines.prior_sources import load_prior
from pipelines.review_shelf import review_shelf
from pipelines.settings import Settings
from pipelines.shelf_demand import PartDemand, count_parts, foretell_parts, read_part_demand
from pipelines.shelf_files import PART_COLUMNS, parts_path, read_parts, read_parts_file, save_parts
from pipelines.shelf_orders import TO_ORDER, Aim, missing_table, order_table, table_as_csv

pytestmark = pytest.mark.slow

TODAY = date(2026, 11, 25)
HEADER = ",".join(PART_COLUMNS)
PARTS = {"replace_coil": "=coil", "replace_fuse": "fuse"}


@pytest.fixture
def vocabulary(tiny_vocabulary: Vocabulary) -> Vocabulary:
    """The tiny list, whose coil and fuse are parts; one part is named to be run by a spreadsheet."""

    def fit(check: Check) -> Check:
        return replace(check, part=PARTS.get(check.code, ""))

    return replace(tiny_vocabulary, checks={code: fit(check) for code, check in tiny_vocabulary.checks.items()})


@pytest.fixture
def shop(tmp_path: Path, vocabulary: Vocabulary) -> Settings:
    """Two years of tickets: the coil used on 4 of them (one by its suspect alone) and tried in vain on 2."""
    settings = Settings(tmp_path / "data")
    write_vocabulary(vocabulary, settings.data_folder / "vocabulary")
    cured, vain = CheckResult("replace_coil", "cured"), CheckResult("replace_coil", "not_cured")
    told: list[dict[str, Any]] = [
        *[{"suspects": ("coil_open",), "checks": (cured,)}] * 3,
        {"suspects": ("coil_open",)},
        {"suspects": ("coil_open",), "result": "not_fixed"},
        {"suspects": ("plug_loose",), "checks": (vain, CheckResult("reseat_plug", "cured"))},
        {"suspects": ("switch_dirty",), "checks": (vain,)},
        *[{"suspects": ("plug_loose",)}] * 5,
    ]
    return _stored(settings, vocabulary, told)


def _stored(settings: Settings, vocabulary: Vocabulary, told: list[dict[str, Any]]) -> Settings:
    for at, facts in enumerate(told):
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(at),
            opened_on=date(2024, 11, 1) + timedelta(60 * at),
            symptom="stuck",
            family="crane",
            confirmation="cured",
            **{"result": "fixed", **facts},
        )
        save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=TODAY)
    return settings


@pytest.fixture
def demand(shop: Settings, vocabulary: Vocabulary) -> PartDemand:
    return read_part_demand(shop, vocabulary, load_prior(shop, vocabulary), today=TODAY)


def listed(on_shelf: float = 0.0, **changed: float) -> pd.DataFrame:
    """A filled list of both parts."""
    facts = {"on_shelf": on_shelf, "on_order": np.nan, "price": 10.0, "lead_days": 90.0, "minimum_order": np.nan}
    return pd.DataFrame({"part": list(PARTS.values()), **{name: [v, v] for name, v in {**facts, **changed}.items()}})


def refused(cells: str, settings: Settings, vocabulary: Vocabulary) -> str:
    """What is said to a list with one row."""
    path = settings.data_folder / "edited.csv"
    path.write_text(f"{HEADER}\n{cells}\n", encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        read_parts_file(path, vocabulary)
    return str(refusal.value)


def test_uses_are_the_tickets_a_part_mended_and_trials_in_vain_stand_beside_them(demand: PartDemand) -> None:
    rows = demand.table.set_index("part")
    # three written cures and one fixed ticket with the suspect alone; the ticket not fixed used none
    assert rows.loc["=coil", ["used", "tried"]].tolist() == [4, 2]
    assert rows.loc["fuse", ["used", "tried"]].tolist() == [0, 0]
    assert demand.span.tickets == 12
    assert demand.span.years == pytest.approx((60 * 11 + 1) / 365.25)
    # nothing came in dark, so no fuse is expected; one is still thinkable
    assert rows.loc["fuse", "expected"] == 0.0
    assert 0.0 < demand.yearly()[0][1] < 0.01


def test_another_kind_of_machine_has_no_uses(shop: Settings, vocabulary: Vocabulary) -> None:
    counts = count_parts(shop, vocabulary, today=TODAY)
    other = foretell_parts(counts, vocabulary, load_prior(shop, vocabulary), family="piano")
    assert other.table["used"].sum() == 0
    assert other.table["expected"].sum() == 0.0


def test_tickets_of_a_few_days_and_lists_without_parts_are_refused(
    tmp_path: Path, shop: Settings, vocabulary: Vocabulary, tiny_vocabulary: Vocabulary
) -> None:
    before = load_prior(shop, vocabulary)
    with pytest.raises(InputError, match=r"no tickets to plan a shelf from"):
        read_part_demand(shop, vocabulary, before, today=date(2020, 1, 1))
    with pytest.raises(InputError, match="cover only 1 days"):
        read_part_demand(shop, vocabulary, before, today=date(2024, 11, 2))
    with pytest.raises(InputError, match="No check of the list fits a part"):
        read_part_demand(Settings(tmp_path / "none"), tiny_vocabulary, before, today=TODAY)


def test_an_order_fills_the_shelf_to_the_smallest_stock_that_serves(demand: PartDemand) -> None:
    orders = order_table(demand, listed(on_shelf=1.0), Aim(service=0.95)).set_index("part")
    coming = demand.over_days(90.0)
    stock = int(stats.nbinom(coming.args[0][0], coming.args[1][0]).ppf(0.95))
    assert orders.loc["=coil", "stock wanted"] == stock
    assert orders.loc["=coil", TO_ORDER] == stock - 1
    assert orders.loc["=coil", "cost"] == pytest.approx(10.0 * (stock - 1))
    least = order_table(demand, listed(on_shelf=1.0, minimum_order=25.0), Aim()).set_index("part")
    assert least[TO_ORDER].tolist() == [25, 0]
    underway = order_table(demand, listed(on_shelf=1.0, on_order=float(stock)), Aim()).set_index("part")
    assert underway.loc["=coil", TO_ORDER] == 0


def test_dearer_waiting_keeps_more_and_dearer_parts_keep_less(demand: PartDemand) -> None:
    def stock(waiting: float, price: float) -> int:
        orders = order_table(demand, listed(price=price), Aim(waiting_per_day=waiting, holding=0.5))
        return int(orders.set_index("part").loc["=coil", "stock wanted"])

    assert stock(0.05, 100.0) < stock(1.0, 100.0) < stock(1.0, 0.5)


def test_what_is_not_known_is_listed_and_never_guessed(demand: PartDemand) -> None:
    parts = listed()
    parts.loc[0, ["lead_days", "price"]] = np.nan
    assert order_table(demand, parts, Aim())["part"].tolist() == ["fuse"]
    missing = missing_table(demand, parts, Aim())
    assert missing[["part", "missing", "planned"]].to_numpy().tolist() == [["=coil", "lead time, price", "no"]]
    parts.loc[0, "lead_days"] = 90.0
    orders = order_table(demand, parts, Aim()).set_index("part")
    assert orders.loc["=coil", TO_ORDER] > 0
    assert np.isnan(orders.loc["=coil", "cost"])


def test_the_order_list_runs_no_formula(demand: PartDemand) -> None:
    # Marks that begin a formula: OWASP, "CSV Injection".
    assert b"\n'=coil," in table_as_csv(order_table(demand, listed(), Aim()))


def test_the_list_of_parts_comes_back_as_it_was_saved(shop: Settings, vocabulary: Vocabulary) -> None:
    parts = listed(on_shelf=3.0, price=12.5)
    parts.loc[1, "price"] = np.nan
    assert save_parts(shop, parts, vocabulary) == 2
    assert "'=coil,3,,12.5,90," in parts_path(shop).read_text(encoding="utf-8")
    pd.testing.assert_frame_equal(read_parts(shop, vocabulary), parts, check_dtype=False)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ("wheel,1,,,,", "line 2: no check fits a part called 'wheel'. Known parts: =coil, fuse."),
        ("fuse,1.5,,,,", "on_shelf is '1.5'. Allowed: a whole number from 0 to 100,000, like 2, or blank"),
        ("fuse,,,free,,", "price is 'free'. Allowed: a number, with a point, from 0.01"),
        ("fuse,,,-3,,", "price is '-3'"),
        ("fuse,,,nan,,", "price is 'nan'"),
        ("fuse,,,,0,", "lead_days is '0'"),
        ("fuse,1,,,,\nfuse,2,,,,", "line 3: 'fuse' is already in line 2. Keep one of the two."),
    ],
)
def test_a_row_that_cannot_be_used_is_refused_by_line(
    cells: str, said: str, shop: Settings, vocabulary: Vocabulary
) -> None:
    assert said in refused(cells, shop, vocabulary)


def test_a_refused_list_leaves_the_old_one(shop: Settings, vocabulary: Vocabulary) -> None:
    save_parts(shop, listed(on_shelf=3.0), vocabulary)
    before = parts_path(shop).read_bytes()
    with pytest.raises(InputError, match="on_shelf is '-1'"):
        save_parts(shop, listed(on_shelf=-1.0), vocabulary)
    assert parts_path(shop).read_bytes() == before
    assert not list(shop.data_folder.glob(".*.csv"))


def test_a_donor_is_counted_over_its_own_kind_and_says_what_it_left_out(shop: Settings, vocabulary: Vocabulary) -> None:
    before = load_prior(shop, vocabulary)
    good = {"coil": Good(0.9, 3), "fuse": Good(0.5)}

    def worth(family: str, waiting: float | None = None, price: float = 15.0) -> tuple[float | None, tuple[str, ...]]:
        answer = value_offer(shop, vocabulary, before, Offer(family, price, good=good, waiting=waiting), today=TODAY)
        return answer.worth and answer.worth.net, (*answer.no_value, *answer.not_used)

    assert worth("crane") == (None, ("=coil", "fuse"))
    save_parts(shop, listed(price=30.0), vocabulary)
    net, left_out = worth("crane")
    # 30 for each of at most three good coils of which nearly all are wanted within five years
    assert net is not None
    assert 0.7 * 2.7 * 30.0 < net + 15.0 < 2.7 * 30.0
    assert left_out == ("fuse",)
    assert worth("piano") == (None, ("=coil", "fuse"))
    with pytest.raises(InputError, match="No kind of machine is called 'ship'"):
        worth("ship")
    with pytest.raises(InputError, match="Price was given as -1"):
        worth("crane", price=-1.0)


def test_the_review_says_each_figure_and_that_no_swap_is_there(shop: Settings) -> None:
    figures = {part.question: part for part in review_shelf(shop, today=TODAY)}
    assert [len(part.table) for part in figures.values()] == [2, 0, 2, 0]
    assert "'=coil' is used most" in figures["Which parts will be used, and how often?"].finding
    assert "2 parts of 2" in figures["Which parts lack a figure?"].finding


def test_the_verbs_make_the_list_and_the_orders(
    shop: Settings, vocabulary: Vocabulary, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    data = ["--data", str(shop.data_folder), "shelf"]
    main([*data, "parts", "--csv", str(tmp_path / "parts.csv")])
    save_parts(shop, listed(), vocabulary)
    main([*data, "order", "--service", "0.9", "--csv", str(tmp_path / "orders.csv")])
    main([*data, "donor", "--family", "crane", "--price", "20", "--good", "coil=0.9x2"])
    said = capsys.readouterr().out
    assert "2 parts written to" in said
    assert (tmp_path / "orders.csv").read_text(encoding="utf-8").startswith("part,to order,cost,price")
    assert "its parts spare about" in said.lower()
    with pytest.raises(SystemExit):
        main([*data, "order", "--service", "95"])
    assert "Give a number between 0 and 1, like 0.95." in capsys.readouterr().err


def test_an_assembly_is_written_with_its_chance() -> None:
    assert read_good("lamp = 0.8x6") == ("lamp", Good(0.8, 6))
    for written in ("lamp", "lamp=8", "lamp=0.8x", "=0.5", "lamp=0.1.2"):
        with pytest.raises(InputError, match=r"Write it like drive_belt=0.9"):
            read_good(written)
