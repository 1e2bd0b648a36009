"""The verb `review`: what a workshop's tickets say about the workshop, figure by figure."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import click
import pandas as pd

from analytics.errors import InputError
from pipelines.review_parts import Part
from pipelines.reviews import PARTS, review_shop
from pipelines.settings import Settings
from pipelines.spreadsheet_cells import defuse_frame
from pipelines.store import utc_now
from pipelines.tables import fitting_columns, print_table

SHOWN_ROWS, SHOWN_COLUMNS = 15, 8
UNNUMBERED = re.compile(r"[^a-z0-9]+")

type Reviewed = Iterator[tuple[str, tuple[Part, ...]]]


@click.command()
@click.argument("part", required=False, type=click.Choice(PARTS))
@click.option("--json", "as_json", is_flag=True, help="All figures as one JSON document.")
@click.option(
    "--csv", "folder", type=click.Path(file_okay=False, path_type=Path), help="Write each table into FOLDER as CSV."
)
@click.option(
    "--report",
    "report",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write all figures as one report to print: FILE.html or FILE.pdf.",
)
@click.pass_obj
def review(settings: Settings, part: str | None, *, as_json: bool, folder: Path | None, report: Path | None) -> None:
    """Review the shop: which checks fix most, what came back, what comes in next, what to keep on the shelf."""
    if sum((as_json, folder is not None, report is not None)) > 1:
        raise InputError("--json, --csv and --report are three ways to have the same figures. Give one of them.")
    figures = review_shop(settings, (part,) if part else PARTS, today=utc_now().date())
    if as_json:
        click.echo(json.dumps(as_document(figures), indent=1, default=str))
    elif folder is not None:
        write_tables(figures, folder)
    elif report is not None:
        write_report(figures, report)
    else:
        print_parts(figures)


def print_parts(figures: Reviewed) -> None:
    """Question, finding, the first rows and the notes of every figure."""
    for name, parts in figures:
        for each in parts:
            click.echo(f"\n{each.question}\n{each.finding}")
            shown = _first_of(each.table)
            if len(shown):
                print_table(shown)
            if shown.shape != each.table.shape:
                click.echo(f"{_say_size(shown, each)}; `faultodds review {name} --csv FOLDER` writes all.")
            for note in each.notes:
                click.echo(f"- {note}")


def _first_of(table: pd.DataFrame) -> pd.DataFrame:
    """Rows and columns that a person can read on a terminal."""
    rows = table.head(SHOWN_ROWS)
    return rows.iloc[:, : min(SHOWN_COLUMNS, fitting_columns(rows))] if len(rows) else rows


def _say_size(shown: pd.DataFrame, part: Part) -> str:
    rows, columns = part.table.shape
    return f"Shown: {len(shown)} of {rows:,} rows, {len(shown.columns)} of {columns} columns"


def as_document(figures: Reviewed) -> dict[str, list[dict[str, object]]]:
    """Part -> its figures, all rows, as JSON can hold them."""
    return {
        name: [
            {
                "question": each.question,
                "finding": each.finding,
                "table": json.loads(each.table.to_json(orient="records", date_format="iso")),
                "notes": list(each.notes),
            }
            for each in parts
        ]
        for name, parts in figures
    }


def write_tables(figures: Reviewed, folder: Path) -> None:
    """One CSV a figure, named after its part and number."""
    for name, parts in figures:
        for number, each in enumerate(parts, start=1):
            if not len(each.table):
                continue
            path = folder / f"{name}_{number}_{UNNUMBERED.sub('_', each.question.lower()).strip('_')}.csv"
            _write(path, defuse_frame(each.table).to_csv(index=False, lineterminator="\n").encode("utf-8"))
            click.echo(f"{len(each.table):,} rows written to {path}")


def write_report(figures: Reviewed, path: Path) -> None:
    """All figures as one page to print, by the ending of the name."""
    # loading what draws PDF takes longer than most verbs do
    from pipelines.review_pdf import report_pdf
    from pipelines.review_report import report_html

    kind = path.suffix.lower()
    if kind not in (".html", ".pdf"):
        raise InputError(f"'{path.name}' is no report that can be written. Give a name that ends in .html or .pdf.")
    made = dict(figures)
    on = utc_now().date()
    _write(path, report_pdf(made, made_on=on) if kind == ".pdf" else report_html(made, made_on=on).encode("utf-8"))
    click.echo(f"The report is in {path}. Print it on A4.")


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as error:
        raise InputError(f"'{path.name}' cannot be written ({error.strerror}). Choose another place.") from error
