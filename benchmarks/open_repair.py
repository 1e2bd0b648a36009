"""The whole way on any file of open repair data: `python -m benchmarks.open_repair PATH --suspect-column fault_type`.

Draft of a vocabulary, ingest, fit, backtest. Learns from the earlier 70 % by date of the rows with a usable label and
scores the rest, beside four simpler methods, without and with the problem text. Words of the vocabulary come from the
whole file (a list of labels is known beforehand), age bands from the earlier part only; all links are equally strong.
"""

import csv
import json
import tempfile
import time
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import click
import pandas as pd

from analytics.backtest import Origin
from analytics.errors import InputError
from analytics.fit import Effort
from pipelines.backtest_files import Backtest, as_data
from pipelines.backtests import gather_folds, replay_origin
from pipelines.catalogue import read_vocabulary, write_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file
from pipelines.proposals import propose_vocabulary
from pipelines.readers import read_raw
from pipelines.settings import Settings, seed_folder

REPORTS = Path(__file__).parent / "reports"
EARLIER_SHARE = 0.7
# Labels that say no fault type was found: such a row stays a ticket, without a suspect.
NO_LABEL = ("", "Unknown", "Poor data", "Other", "Multiple")


@click.command()
@click.argument("path", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--suspect-column", default="fault_type", show_default=True, help="Column that says what it was.")
@click.option("--out", type=click.Path(path_type=Path), help="JSON file to write (default: benchmarks/reports).")
def main(path: Path, suspect_column: str, out: Path | None) -> None:
    """Measure, print a table, write a report."""
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        found = measure(path, suspect_column, Settings(Path(folder)))
    target = out or REPORTS / f"open_repair_{path.stem}.json"
    target.parent.mkdir(exist_ok=True)
    report = {"file": path.name, "seconds": round(time.perf_counter() - began), **as_data(found)}
    target.write_text(json.dumps(report, indent=1), encoding="utf-8")
    click.echo(found.folds.to_string(index=False))
    click.echo(found.table.round(3).to_string(index=False))


def measure(path: Path, suspect_column: str, place: Settings) -> Backtest:
    """Takes the file in, fits its earlier part and scores the later one."""
    rows = _labelled_rows(path, suspect_column)
    until = _until(rows.loc[rows[suspect_column] != "", "event_date"])
    column_map = read_column_map(_write_columns(place, suspect_column))
    whole, early = place.data_folder / "whole.csv", place.data_folder / "early.csv"
    for target, kept in ((whole, rows), (early, rows[rows["event_date"] < until.isoformat()])):
        kept.to_csv(target, index=False, quoting=csv.QUOTE_ALL)
    base = read_vocabulary(seed_folder() / "vocabulary")
    drafts = [propose_vocabulary(read_raw(file), column_map=column_map, base=base) for file in (whole, early)]
    vocabulary = replace(drafts[0], age_bands=drafts[1].age_bands)
    (place.data_folder / "vocabulary").mkdir()
    write_vocabulary(vocabulary, place.vocabulary_folder)
    last = date.fromisoformat(max(rows["event_date"]))
    report = ingest_file(
        whole, store_path=place.store_path, vocabulary=vocabulary, shop="", column_map=column_map, today=last
    )
    click.echo("\n".join(report.sentences()), err=True)
    return gather_folds([replay_origin(place, Origin(until, last + timedelta(days=1)), effort=Effort())])


def _labelled_rows(path: Path, suspect_column: str) -> pd.DataFrame:
    """The file as text; labels that say nothing are blank, all others are the truth to be forecast, taken as sure."""
    rows = pd.read_csv(path, dtype=str, keep_default_na=False)
    if suspect_column not in rows:
        raise InputError(f"'{path.name}' has no column '{suspect_column}'. It has: {', '.join(rows.columns)}.")
    named = ~rows[suspect_column].isin(NO_LABEL)
    rows[suspect_column] = rows[suspect_column].where(named, "")
    return rows.assign(confirmation=named.map({True: "reproduced_and_cured", False: ""}))


def _write_columns(place: Settings, suspect_column: str) -> Path:
    """The shipped column map with the suspect in another column."""
    shipped = (seed_folder() / "column_maps" / "open_repair.csv").read_text(encoding="utf-8").splitlines()
    lines = [line for line in shipped if not line.startswith("suspect,")]
    path = place.data_folder / "columns.csv"
    path.write_text("\n".join([*lines, f"suspect,{suspect_column},,"]) + "\n", encoding="utf-8")
    return path


def _until(days: pd.Series) -> date:
    """The first day of the later part."""
    ordered = sorted(days)
    return date.fromisoformat(ordered[int(EARLIER_SHARE * len(ordered))]) + timedelta(days=1)


if __name__ == "__main__":
    main()
