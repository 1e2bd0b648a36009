"""Write the demo history of the Saltmarsh Pier Collection, with its stated truth: python scripts/make_demo.py [FOLDER]

The same seed always writes the same files. They are committed in seed_data/demo; a test makes them again.
"""

import csv
import io
import json
import re
import sys
import zipfile
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

from analytics.scenario import World, make_world
from analytics.scenario_tickets import History, simulate_tickets
from analytics.scenario_truth import truth_of
from analytics.scenario_untidy import Pen, number_tickets, spoil_rows, write_rows
from pipelines.catalogue import read_vocabulary
from pipelines.settings import seed_folder

SEED = 19_250_614
TICKETS = 4_600
CASES = 12
ISO, DOTTED, SLASHED = "%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y"
# Cockle Row keeps its tickets in a table of its own making.
OWN_HEADERS = {
    **{"ticket": "Job", "shop": "Where", "machine": "Which machine", "family": "Sort", "built_year": "Made in"},
    **{"opened_on": "Came in", "closed_on": "Went out", "symptom": "Trouble", "complaint": "They said"},
    **{"suspect": "It was", "confirmation": "How sure", "result": "Outcome", "checks": "What we did"},
    "minutes": "Time spent",
}
ZIP_TIME = (2026, 11, 1, 0, 0, 0)


@dataclass(frozen=True)
class ShopFile:
    """One shop's file; `column_map` names a file beside it ("" when the headers are those of the template)."""

    pen: Pen
    file: str
    encoding: str = "utf-8"
    delimiter: str = ","
    column_map: str = ""


SHOP_FILES = (
    ShopFile(Pen("Saltmarsh Pier", "SP", ISO, SLASHED), "saltmarsh_pier.csv"),
    ShopFile(Pen("Gullwick Sands", "GS", DOTTED, ISO), "gullwick_sands.csv", encoding="cp1252", delimiter=";"),
    ShopFile(Pen("Cockle Row", "CR", SLASHED, ISO), "cockle_row.csv", column_map="cockle_row_columns.csv"),
    ShopFile(Pen("Lantern Quay", "LQ", SLASHED, DOTTED), "lantern_quay.csv", encoding="utf-8-sig"),
    ShopFile(Pen("Tidewell Spit", "TS", ISO, DOTTED), "tidewell_spit.csv"),
    ShopFile(Pen("Marram Point", "MP", ISO, SLASHED), "marram_point.xlsx"),
)


def make_demo(folder: Path) -> None:
    """Write the six shop files, shops.csv, truth.json, truth_tickets.csv and cases.csv into the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    rng = np.random.default_rng(SEED)
    rates = {(row["family"], row["symptom"]): float(row["relative_rate"]) for row in _read("demo_arrivals.csv")}
    phrases = _lists("demo_phrases.csv", "symptom_or_suspect", "phrase")
    shops = [entry.pen.shop for entry in SHOP_FILES]
    world = make_world(vocabulary, shops, rng, symptom_rates=rates)
    history = simulate_tickets(world, rng, count=TICKETS, phrases=phrases)
    named = _name_machines(world, history, _lists("demo_models.csv", "family", "model"))
    for entry in SHOP_FILES:
        rows = spoil_rows(write_rows(named, vocabulary, rng, pen=entry.pen), rng)
        _write_shop_file(entry, rows, folder)
    later = simulate_tickets(world, rng, count=400, phrases=phrases, period=(date(2026, 11, 1), date(2026, 12, 31)))
    (folder / "truth.json").write_text(json.dumps(truth_of(world), separators=(",", ":")) + "\n", encoding="utf-8")
    _write_csv(_truth_of_tickets(history), folder / "truth_tickets.csv")
    _write_csv(_choose_cases(later), folder / "cases.csv")
    columns = [(entry.file, entry.pen.shop, entry.column_map) for entry in SHOP_FILES]
    _write_csv(pd.DataFrame(columns, columns=["file", "shop", "column_map"]), folder / "shops.csv")


def _name_machines(world: World, history: History, models: dict[str, list[str]]) -> History:
    """Machines called by model and running number within the shop, as on a label."""
    names: dict[str, str] = {}
    counts: dict[tuple[str, str], int] = defaultdict(int)
    for machine in world.machines.itertuples(index=False):
        choices = models[machine.family]
        model = choices[int(machine.machine[1:]) % len(choices)]
        counts[machine.shop, model] += 1
        names[machine.machine] = f"{model} no. {counts[machine.shop, model]}"
    return replace(history, tickets=history.tickets.assign(machine=history.tickets["machine"].map(names)))


def _write_shop_file(entry: ShopFile, rows: pd.DataFrame, folder: Path) -> None:
    if entry.column_map:
        _write_csv(pd.DataFrame(OWN_HEADERS.items(), columns=["field", "header"]), folder / entry.column_map)
        rows = rows.rename(columns=OWN_HEADERS)
    if entry.pen.shop == "Tidewell Spit":  # a lone volunteer does not write down where he works
        rows = rows.drop(columns="shop")
    if entry.file.endswith(".xlsx"):
        (folder / entry.file).write_bytes(_workbook(rows, entry.pen))
    else:
        text = rows.to_csv(index=False, sep=entry.delimiter, lineterminator="\n")
        (folder / entry.file).write_bytes(text.encode(entry.encoding))


def _workbook(rows: pd.DataFrame, pen: Pen) -> bytes:
    """Dates in the usual style and years are true dates and numbers, the rest is text, as typing it would give."""
    book = openpyxl.Workbook()
    book.properties.created = datetime(*ZIP_TIME)  # noqa: DTZ001 - openpyxl wants it so
    sheet = book.active
    sheet.title = "Tickets"
    for line, row in enumerate([list(rows.columns), *rows.values.tolist()], start=1):
        for column, text in enumerate(row, start=1):
            cell = sheet.cell(line, column, _cell_value(text, rows.columns[column - 1], pen) if line > 1 else text)
            if text.startswith("="):
                cell.data_type = "s"
    buffer = io.BytesIO()
    book.save(buffer)
    return _without_clock(buffer.getvalue())


def _cell_value(text: str, column: str, pen: Pen) -> str | int | date:
    if column in ("built_year", "minutes") and text.isdigit():
        return int(text)
    if column in ("opened_on", "closed_on") and text:
        try:
            return datetime.strptime(text, pen.date_style).date()  # noqa: DTZ007 - a day, not an instant
        except ValueError:
            return text
    return text


def _without_clock(workbook: bytes) -> bytes:
    """The same archive with a fixed time on its members, so that making it again gives the same bytes."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as old, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            # openpyxl writes the present moment as the time of the last change.
            member = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2026-11-01T00:00:00Z", old.read(name))
            new.writestr(zipfile.ZipInfo(name, ZIP_TIME), member, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()


def _truth_of_tickets(history: History) -> pd.DataFrame:
    """shop, ticket (the shop's own number), true_suspect, comeback_of (the shop's own number, blank for none)."""
    parts = []
    numbers: dict[int, str] = {0: ""}
    for entry in SHOP_FILES:
        own = history.tickets[history.tickets["shop"] == entry.pen.shop]
        own = own.assign(own_number=number_tickets(own, entry.pen.prefix))
        numbers |= dict(zip(own["ticket"], own["own_number"], strict=True))
        parts.append(own)
    tickets = pd.concat(parts)
    return pd.DataFrame(
        {
            "shop": tickets["shop"],
            "ticket": tickets["own_number"],
            "true_suspect": tickets["true_suspect"],
            "comeback_of": tickets["comeback_of"].map(numbers),
        }
    )


def _choose_cases(later: History) -> pd.DataFrame:
    """Example complaints of later weeks, each with another symptom; `results` are the checks made so far."""
    chosen = later.tickets.drop_duplicates("symptom").head(CASES)
    rows = []
    for number, ticket in enumerate(chosen.itertuples(index=False), start=1):
        done = later.checks[(later.checks["ticket"] == ticket.ticket) & (later.checks["position"] <= number % 3)]
        done = done[done["outcome"] != "cured"]
        results = ";".join(f"{check}={outcome}" for check, outcome in zip(done["check"], done["outcome"], strict=True))
        told = {
            name: getattr(ticket, name) for name in ("shop", "family", "built_year", "symptom", "others", "complaint")
        }
        rows.append({"case": number, **told, "results": results, "true_suspect": ticket.true_suspect})
    return pd.DataFrame(rows)


def _read(name: str) -> list[dict[str, str]]:
    with (seed_folder() / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def _lists(name: str, key: str, value: str) -> dict[str, list[str]]:
    lists: dict[str, list[str]] = {}
    for row in _read(name):
        lists.setdefault(row[key], []).append(row[value])
    return lists


def _write_csv(frame: pd.DataFrame, path: Path) -> None:
    frame.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


if __name__ == "__main__":
    make_demo(Path(sys.argv[1]) if len(sys.argv) > 1 else seed_folder() / "demo")
