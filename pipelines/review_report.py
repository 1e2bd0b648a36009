"""The review as one page to print: what it comes to, every question with its answer and a picture, what is left out."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from html import escape

import babel
from babel.dates import format_date

from pipelines.review_figures import CHAPTERS, NOT_PRINTED, TABLE_ROWS, TOP_ROWS, Figure, figure_of
from pipelines.review_parts import Part
from pipelines.review_svg import drawing_svg
from pipelines.review_words import short_finding

TITLE = "Review of the workshop"
LEAD = (
    "Written on {day} from the tickets. Each list shows at most its first {rows} rows. In nine cases of ten the true "
    "figure lies inside the brackets, and on the line around the dot."
)
IN_SHORT, LEFT_OUT, HOW_TO_READ = "In short", "What this report leaves out", "How to read it"
THE_REST = "All rows and columns are in the tables that `faultodds review --csv FOLDER` writes."
WIDE_MM, NARROW_MM = 182.0, 78.0
_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


@dataclass(frozen=True)
class Report:
    """What is printed: chapters with their figures, and what is not, with the reason."""

    made_on: date
    chapters: tuple[tuple[str, tuple[Figure, ...]], ...]
    left_out: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]

    @property
    def lead(self) -> str:
        """What the page is, under its title."""
        return LEAD.format(day=say_day(self.made_on), rows=max(TOP_ROWS, TABLE_ROWS))


def make_report(parts: Mapping[str, tuple[Part, ...]], *, made_on: date) -> Report:
    """The report; a figure without rows goes to what is left out, and its finding says why."""
    chapters, left_out = [], []
    notes: dict[str, None] = {}
    for name, some in parts.items():
        printed = [part for part in some if len(part.table) and part.question not in NOT_PRINTED]
        left_out += [
            (part.question, NOT_PRINTED[part.question] + "." if len(part.table) else part.finding)
            for part in some
            if part not in printed
        ]
        if printed:
            chapters.append((CHAPTERS.get(name, name), tuple(map(_with_days, map(figure_of, printed)))))
            notes |= dict.fromkeys(note for part in printed for note in part.notes)
    return Report(made_on, tuple(chapters), tuple(left_out), tuple(notes))


def _with_days(figure: Figure) -> Figure:
    return replace(figure, finding=_DAY.sub(lambda found: say_day(date.fromisoformat(found[0])), figure.finding))


def in_short(report: Report) -> tuple[tuple[str, str], ...]:
    """(chapter, the finding of its first figure): what a reader in a hurry takes home."""
    return tuple((title, short_finding(figures[0].finding)) for title, figures in report.chapters)


def say_day(day: date) -> str:
    """A day as it is written where the program runs, "26 Nov 2026"."""
    try:
        here = babel.Locale.parse(babel.default_locale("LC_TIME") or "en_GB")
    except (ValueError, babel.UnknownLocaleError):
        here = babel.Locale.parse("en_GB")
    # a machine without a language of its own
    chosen = here if here.variant != "POSIX" else babel.Locale.parse("en_GB")
    return str(format_date(day, format="medium", locale=chosen))


def report_html(parts: Mapping[str, tuple[Part, ...]], *, made_on: date) -> str:
    """The report as one HTML page that needs nothing else: own style, on A4 and on a telephone."""
    report = make_report(parts, made_on=made_on)
    return _PAGE.format(
        title=escape(TITLE),
        lead=escape(report.lead),
        short=_short_html(report),
        chapters="".join(
            f'<h2 class="chapter">{escape(title)}</h2>{"".join(map(_figure_html, figures))}'
            for title, figures in report.chapters
        ),
        left_out=_left_out_html(report),
        heading=escape(HOW_TO_READ),
        notes="".join(f"<li>{escape(note)}</li>" for note in report.notes),
    )


def _short_html(report: Report) -> str:
    rows = "".join(f"<dt>{escape(title)}</dt><dd>{escape(told)}</dd>" for title, told in in_short(report))
    return f'<section class="short"><h2>{escape(IN_SHORT)}</h2><dl>{rows}</dl></section>' if rows else ""


def _left_out_html(report: Report) -> str:
    rows = "".join(f"<li><b>{escape(question)}</b> {escape(reason)}</li>" for question, reason in (*report.left_out,))
    return f'<section class="small"><h2>{escape(LEFT_OUT)}</h2><ul>{rows}<li>{escape(THE_REST)}</li></ul></section>'


def _figure_html(figure: Figure) -> str:
    """The question, the finding, and a picture for paper and one for a telephone, or the first rows."""
    shown = _table_html(figure) if figure.rows else ""
    if figure.draw is not None:
        shown = "".join(
            drawing_svg(figure.draw(width), name=name, alternative=figure.finding)
            for name, width in (("wide", WIDE_MM), ("narrow", NARROW_MM))
        )
    return f"<section><h3>{escape(figure.question)}</h3><p>{escape(figure.finding)}</p>{shown}</section>"


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
* {{ box-sizing: border-box; }}
body {{ font: 16px/1.45 Helvetica, Arial, sans-serif; color: #2B2118; background: #fff; max-width: 200mm;
  margin: 0 auto; padding: 6mm 5mm; overflow-wrap: anywhere; }}
h1 {{ font-size: 1.9em; line-height: 1.1; margin: 0; border-top: 1.2mm solid #0072B2; padding-top: 3mm; }}
h2.chapter {{ font-size: 1em; color: #5E5042; margin: 9mm 0 0; border-bottom: .3mm solid #7A6A58; }}
h2 {{ font-size: 1.1em; margin: 0; break-after: avoid; }} h3 {{ font-size: 1.1em; margin: 0; }}
p {{ margin: .2em 0 .5em; }} .lead {{ color: #5E5042; margin: 2mm 0; }}
section {{ break-inside: avoid; padding-top: 5mm; }}
.short {{ background: #FBF6EC; padding: 4mm; margin-top: 4mm; }}
dl {{ display: grid; grid-template-columns: 11em 1fr; gap: 1mm 4mm; margin: 2mm 0 0; }}
dt {{ font-weight: bold; }} dd {{ margin: 0; }}
svg {{ display: block; width: 100%; height: auto; }} .narrow {{ display: none; }}
table {{ border-collapse: collapse; width: 100%; font-size: .88em; }}
th {{ text-align: left; font-weight: normal; color: #5E5042; }}
th, td {{ padding: .5mm 2mm .5mm 0; vertical-align: top; overflow-wrap: break-word;
  border-bottom: .2mm solid #EDE2CE; }}
.number {{ text-align: right; font-variant-numeric: tabular-nums; }}
.small {{ break-inside: auto; font-size: .88em; }} ul {{ margin: 1mm 0; padding-left: 5mm; }}
@media (max-width: 600px) {{ .narrow {{ display: block; }} .wide {{ display: none; }}
  dl {{ grid-template-columns: 1fr; }} dd {{ margin-bottom: 2mm; }} }}
@media print {{ body {{ font-size: 9.5pt; padding: 0; max-width: none; }} .narrow {{ display: none; }}
  .wide {{ display: block; }} .small {{ font-size: 8pt; }} .short {{ border: .2mm solid #7A6A58; }} }}
</style>
</head>
<body>
<h1>{title}</h1>
<p class="lead">{lead}</p>
{short}
{chapters}
{left_out}
<section class="small"><h2>{heading}</h2><ul>{notes}</ul></section>
</body>
</html>
"""
