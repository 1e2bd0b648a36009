"""The whole way on any file of open repair data: `python -m benchmarks.open_repair PATH --suspect-column fault_type`.

Draft of a vocabulary, ingest, fit, backtest. Learns from the earlier 70 % by date of the rows with a usable label and
scores the rest, beside four simpler methods, without and with the problem text. Words of the vocabulary come from the
whole file (a list of labels is known beforehand); strengths of links and age bands from the earlier part only.
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
from analytics.vocabulary import Vocabulary
from pipelines.backtests import Backtest, as_data, gather_folds, replay_origin
from pipelines.catalogue import read_vocabulary, write_vocabulary
from pipelines.column_maps import find_column_map, read_column_map
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
@click.option("--flat", is_flag=True, help="All links alike instead of as strong as the earlier part shows them.")
@click.option("--out", type=click.Path(path_type=Path), help="JSON file to write (default: benchmarks/reports).")
def main(path: Path, suspect_column: str, out: Path | None, *, flat: bool) -> None:
    """Measure, print a table, write a report."""
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        found = measure(path, suspect_column, Settings(Path(folder)), flat=flat)
    target = out or REPORTS / f"open_repair_{path.stem}.json"
    target.parent.mkdir(exist_ok=True)
    report = {"file": path.name, "seconds": round(time.perf_counter() - began), **as_data(found)}
    target.write_text(json.dumps(report, indent=1), encoding="utf-8")
    click.echo(found.folds.to_string(index=False))
    click.echo(found.table.round(3).to_string(index=False))


def measure(path: Path, suspect_column: str, place: Settings, *, flat: bool) -> Backtest:
    """Takes the file in, fits its earlier part and scores the later one."""
    column_map_path = place.data_folder / "columns.csv"
    own = find_column_map("open_repair")
    assert own is not None
    column_map_path.write_text(own.read_text(encoding="utf-8") + f"suspect,{suspect_column},,\n", encoding="utf-8")
    column_map = read_column_map(column_map_path)
    rows = pd.read_csv(path, dtype=str, keep_default_na=False)
    if suspect_column not in rows:
        raise InputError(f"'{path.name}' has no column '{suspect_column}'. It has: {', '.join(rows.columns)}.")
    # the label is the truth to be forecast, so it is taken as sure
    named = ~rows[suspect_column].isin(NO_LABEL)
    rows = rows.assign(confirmation=named.map({True: "reproduced_and_cured", False: ""}))
    rows[suspect_column] = rows[suspect_column].where(named, "")
    until = _until(rows.loc[named, "event_date"])
    whole, early = place.data_folder / "whole.csv", place.data_folder / "early.csv"
    for target, kept in ((whole, rows), (early, rows[rows["event_date"] < until.isoformat()])):
        kept.to_csv(target, index=False, quoting=csv.QUOTE_ALL)
    base = read_vocabulary(seed_folder() / "vocabulary")
    drafts = [propose_vocabulary(read_raw(file), column_map=column_map, base=base) for file in (whole, early)]
    vocabulary = _with_strengths(drafts[0], drafts[1], flat=flat)
    (place.data_folder / "vocabulary").mkdir()
    write_vocabulary(vocabulary, place.vocabulary_folder)
    last = date.fromisoformat(max(rows["event_date"]))
    report = ingest_file(
        whole, store_path=place.store_path, vocabulary=vocabulary, shop="", column_map=column_map, today=last
    )
    click.echo("\n".join(report.sentences()), err=True)
    return gather_folds([replay_origin(place, Origin(until, last + timedelta(days=1)))])


def _until(days: pd.Series) -> date:
    """The first day of the later part."""
    ordered = sorted(days)
    return date.fromisoformat(ordered[int(EARLIER_SHARE * len(ordered))]) + timedelta(days=1)


def _with_strengths(words: Vocabulary, early: Vocabulary, *, flat: bool) -> Vocabulary:
    """The vocabulary of the whole file with strengths and age bands of its earlier part."""
    links = {pair: "rarely" if flat else early.links.get(pair, "hardly_ever") for pair in words.links}
    return replace(words, links=links, age_bands=early.age_bands)


if __name__ == "__main__":
    main()
