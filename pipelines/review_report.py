"""The review as one page to print: every question with its answer, the first rows behind it, and how to read it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from html import escape

import pandas as pd

from pipelines.review_parts import Part

# What a committee reads in five minutes; `faultodds review --csv FOLDER` has the rest.
TOP_ROWS, TOP_COLUMNS = 3, 6
TITLE = "Review of the workshop"
LEAD = (
    "Written on {day} from the tickets. Each table shows its first rows; a figure with 'from' and 'to' beside it lies "
    "between the two nine times in ten."
)
HOW_TO_READ = "How to read it"


@dataclass(frozen=True)
class Figure:
    """One figure in words: cells are text, `is_number` says which columns stand to the right."""

    question: str
    finding: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    is_number: tuple[bool, ...]


def figures_of(parts: Mapping[str, tuple[Part, ...]]) -> tuple[Figure, ...]:
    """All figures, in order, with the first rows and columns of their tables."""
    return tuple(_figure(part) for some in parts.values() for part in some)


def notes_of(parts: Mapping[str, tuple[Part, ...]]) -> tuple[str, ...]:
    """Every note once, in order."""
    return tuple(dict.fromkeys(note for some in parts.values() for part in some for note in part.notes))


def report_html(parts: Mapping[str, tuple[Part, ...]], *, made_on: date) -> str:
    """The report as one HTML page that needs nothing else: own style, black on white, A4."""
    return _PAGE.format(
        title=escape(TITLE),
        lead=escape(LEAD.format(day=made_on.isoformat())),
        figures="".join(map(_figure_html, figures_of(parts))),
        heading=escape(HOW_TO_READ),
        notes="".join(f"<li>{escape(note)}</li>" for note in notes_of(parts)),
    )


def _figure(part: Part) -> Figure:
    shown = part.table.iloc[:TOP_ROWS, :TOP_COLUMNS]
    return Figure(
        question=part.question,
        finding=part.finding,
        header=tuple(map(str, shown.columns)),
        rows=tuple(tuple(map(_cell, row)) for row in shown.itertuples(index=False)),
        is_number=tuple(dtype.kind in "iuf" for dtype in shown.dtypes),
    )


def _cell(value: object) -> str:
    if pd.isna(value):
        return ""
    if isinstance(value, float):
        return f"{value:,.0f}" if abs(value) >= 1000 or value == round(value) else f"{value:,.4g}"
    return f"{value:,}" if isinstance(value, int) else str(value)


def _figure_html(figure: Figure) -> str:
    return (
        f"<section><h2>{escape(figure.question)}</h2><p>{escape(figure.finding)}</p>"
        f"{_table_html(figure) if figure.rows else ''}</section>"
    )


def _table_html(figure: Figure) -> str:
    kinds = [' class="number"' if right else "" for right in figure.is_number]
    head = "".join(f"<th{kind}>{escape(name)}</th>" for name, kind in zip(figure.header, kinds, strict=True))
    rows = "".join(
        "<tr>" + "".join(f"<td{kind}>{escape(cell)}</td>" for cell, kind in zip(row, kinds, strict=True)) + "</tr>"
        for row in figure.rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
@page {{ size: A4; margin: 14mm; }}
body {{ font: 10pt/1.35 sans-serif; color: #000; background: #fff; max-width: 182mm; margin: 0 auto; padding: 4mm; }}
h1 {{ font-size: 18pt; margin: 0; }} h2 {{ font-size: 12pt; margin: 4mm 0 0; }}
p {{ margin: 1mm 0; overflow-wrap: anywhere; }}
section {{ break-inside: avoid; overflow-x: auto; }}
table {{ border-collapse: collapse; width: 100%; font-size: 8.5pt; }}
th {{ text-align: left; border-bottom: 1pt solid #000; font-weight: bold; }}
th, td {{ padding: .4mm 2mm .4mm 0; vertical-align: top; }} td {{ border-bottom: .4pt solid #999; }}
.number {{ text-align: right; font-variant-numeric: tabular-nums; }}
ul {{ margin: 1mm 0; padding-left: 4mm; font-size: 8.5pt; }}
</style>
</head>
<body>
<h1>{title}</h1>
<p>{lead}</p>
{figures}
<section><h2>{heading}</h2><ul>{notes}</ul></section>
</body>
</html>
"""
