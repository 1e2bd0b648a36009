"""A clock that was set back changes no order: what was stored last is the newest."""

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import duckdb

from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.intake import save_ticket
from pipelines.posteriors import FitRow, list_fits, load_newest, newest_fit, save_posterior
from pipelines.settings import Settings
from pipelines.store import SQL_FOLDER, last_ticket_order, newest_version, reading

DIAGNOSTICS = "1.0, 900, 0, true"


def publish(settings: Settings, posterior: Posterior, fit_id: str, fitted_at: datetime) -> None:
    row = FitRow(fit_id, fitted_at, "x", "x", "0", seconds=1.0, last_order=0)
    save_posterior(settings, replace(posterior, fit_id=fit_id), row)


def test_the_fit_stored_last_is_served_whatever_the_clock_said(
    bench_settings: Settings, tiny_posterior: Posterior
) -> None:
    publish(bench_settings, tiny_posterior, "later", datetime(2026, 11, 25))  # noqa: DTZ001 - UTC
    publish(bench_settings, tiny_posterior, "after the clock was set back", datetime(2020, 1, 1))  # noqa: DTZ001 - UTC
    assert newest_fit(bench_settings).fit_id == "after the clock was set back"
    assert load_newest(bench_settings).fit_id == "after the clock was set back"
    assert list(list_fits(bench_settings)["fit_id"]) == ["after the clock was set back", "later", "first"]


def test_tickets_are_numbered_in_the_order_of_storing(bench_settings: Settings, tiny_vocabulary: Vocabulary) -> None:
    orders = []
    for number, today in (("1", date(2026, 11, 25)), ("2", date(2021, 1, 1))):
        ticket = TicketRow("Pier", number, date(2020, 5, 1), symptom="stuck", suspects=("coil_open",))
        save_ticket(ticket, store_path=bench_settings.store_path, vocabulary=tiny_vocabulary, today=today)
        with reading(bench_settings.store_path) as con:
            orders.append(last_ticket_order(con))
    assert orders[0] < orders[1]


def test_fits_of_an_earlier_store_keep_their_order(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    with duckdb.connect(str(path)) as con:
        con.execute("create table schema_version (version integer primary key, applied_at timestamp not null)")
        for number, file in enumerate(sorted((SQL_FOLDER / "migrations").glob("00[1-5]*.sql")), start=1):
            con.execute(file.read_text(encoding="utf-8"))
            con.execute("insert into schema_version values (?, now()::timestamp)", [number])
        for fit_id, moment in (("b", "2026-02-01"), ("a", "2026-03-01"), ("c", "2026-01-01")):
            facts = [fit_id, moment]
            con.execute(f"insert into fits values (?, ?::timestamp, 4, '4-0', 'x', '0', 1.0, {DIAGNOSTICS})", facts)
            con.execute("insert into fit_reach values (?, 4)", [fit_id])
    settings = Settings(tmp_path)
    path.rename(settings.store_path)
    assert list(list_fits(settings)["fit_id"]) == ["a", "b", "c"]
    with reading(settings.store_path) as con:
        assert con.execute("select max(version) from schema_version").fetchall() == [(newest_version(),)]
