"""The tables of `benchmarks.live_update`."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

REPORTS = Path(__file__).parent / "reports"
ALLOWED = {20: 1.5, 100: 3.0}  # new tickets -> error allowed, in differences between refits
MAX_MS = 20.0


@dataclass(frozen=True)
class Row:
    """One world and one number of new tickets; errors in percentage points, widths of 90 % intervals likewise."""

    world: int
    new: int
    refits: float
    untouched: float
    reweighted: float
    updated: float
    width_before: float
    width_updated: float
    width_refit: float
    effective_share: float
    reweighted_share: float
    is_spent: bool

    @property
    def ratio(self) -> float:
        """Error of the update in differences between refits."""
        return self.updated / self.refits


def summarise(rows: list[Row], times: np.ndarray) -> dict[str, Any]:
    """Everything that is reported; times (ticket, 2): ms on the clock, ms of the thread."""
    return {
        "rows": [asdict(row) for row in rows],
        "times": {
            name: {"median": float(np.median(column)), "p99": float(np.quantile(column, 0.99))}
            for name, column in zip(("clock_ms", "thread_ms"), times.T, strict=True)
        },
    }


def write_reports(heading: str, report: dict[str, Any]) -> str:
    """Writes live_update.json and live_update.md; the text of the latter."""
    REPORTS.mkdir(exist_ok=True)
    (REPORTS / "live_update.json").write_text(json.dumps({"heading": heading, **report}, indent=1))
    rows: list[Row] = [Row(**row) for row in report["rows"]]
    clock, thread = report["times"]["clock_ms"], report["times"]["thread_ms"]
    held = "held" if clock["p99"] <= MAX_MS else "NOT held"
    text = "\n".join(
        [
            "# Tickets that count before the next fit",
            "",
            f"{heading} Errors are mean absolute differences of suspect probabilities from two refits, in percentage",
            "points; in brackets as multiples of the difference between the two refits. Effective draws: what unequal",
            "weights leave of the draws, when the fitted draws are reweighted and after the update.",
            "",
            *(_verdict(rows, new, allowed) for new, allowed in ALLOWED.items()),
            f"- One ticket and a fresh ranking: {clock['median']:.1f} ms, 99 % within {clock['p99']:.1f} ms",
            f"  (of its own thread {thread['median']:.1f} and {thread['p99']:.1f} ms); allowed {MAX_MS:.0f}: {held}.",
            "",
            table(rows),
            "",
        ]
    )
    (REPORTS / "live_update.md").write_text(text)
    return text


def table(rows: list[Row]) -> str:
    """One line a row."""
    lines = [
        "| world | new | two refits | not updating | reweighting | update | 90 % width before / updated / refit "
        "| effective draws, reweighting / update | refit due |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for row in rows:
        errors = (f"{value:.2f} ({value / row.refits:.2f})" for value in (row.untouched, row.reweighted, row.updated))
        widths = f"{row.width_before:.1f} / {row.width_updated:.1f} / {row.width_refit:.1f}"
        shares = f"{row.reweighted_share:.0%} / {row.effective_share:.0%}"
        cells = (row.world, row.new, f"{row.refits:.2f}", *errors, widths, shares, "yes" if row.is_spent else "no")
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    return "\n".join(lines)


def _verdict(rows: list[Row], new: int, allowed: float) -> str:
    ratios = [row.ratio for row in rows if row.new == new]
    held = "held" if np.mean(ratios) <= allowed else "NOT held"
    return (
        f"- {new} new tickets: {np.mean(ratios):.2f} times the difference between refits on average, "
        f"{max(ratios):.2f} in the worst world; allowed {allowed:.1f}: {held}."
    )
