"""The verb `backtest`: how good the odds would have been, beside simpler methods."""

import click
import pandas as pd

from pipelines.backtest_files import SCORED_SENTENCE, Backtest
from pipelines.progress import progress_bar
from pipelines.settings import Settings
from pipelines.tables import print_table
from pipelines.wording import in_ten


@click.command()
@click.option("--folds", type=click.IntRange(1, 20), default=3, show_default=True, help="Stretches of time to score.")
@click.pass_obj
def backtest(settings: Settings, folds: int) -> None:
    """Fit what was known at earlier dates and score the tickets that came after (about a minute a fold)."""
    # PyMC takes seconds to import; only the verbs that fit wait for it.
    from pipelines.backtests import run_backtest

    with progress_bar("Fitting earlier dates") as advance:
        found = run_backtest(settings, folds=folds, progress=advance)
    print_table(loss_rows(found))
    print_table(place_rows(found))
    click.echo("\n".join(sentences(found)))


def loss_rows(found: Backtest) -> pd.DataFrame:
    """How surprised each forecast was, as a person reads it."""
    table = found.table
    behind = zip(table["behind"], table["behind_se"], strict=True)
    told = [f"{gap:+.3f} ± {error:.3f}" if gap else "" for gap, error in behind]
    return pd.DataFrame(
        {
            "forecast by": table["method"],
            "tickets": table["tickets"],
            "log loss": table["log_loss"].round(3),
            "difference": told,
            "Brier": table["brier"].round(3),
        }
    )


def place_rows(found: Backtest) -> pd.DataFrame:
    """Where the true suspect stood in each forecast."""
    table = found.table
    return pd.DataFrame(
        {
            "true suspect, by": table["method"],
            "mean place": table["rank"].round(1),
            "named first": table["top_1"].map(in_ten),
            "in the first three": table["top_3"].map(in_ten),
        }
    )


def sentences(found: Backtest) -> tuple[str, ...]:
    """What the table means."""
    bins, folds = found.calibration, found.folds
    inside = ((bins["low"] <= bins["forecast_mean"]) & (bins["forecast_mean"] <= bins["high"])).sum()
    return (
        SCORED_SENTENCE,
        f"Fits of what was known on {', '.join(folds['start'])}, each scored on the tickets up to the next date.",
        "Log loss: how surprised the forecast was by the true suspect; less is better, 0 is never surprised.",
        "Difference: log loss above (+) or below (-) that of this model told the same, on the same tickets, ± its "
        "standard error. This model told more is compared with itself told less.",
        "Rows with checks count only tickets that were still open after them.",
        f"Calibration: of {len(bins)} groups of like odds, {inside} came true as often as said, within chance.",
    )
