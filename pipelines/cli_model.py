"""Verbs about the model: fit, fits."""

from typing import TYPE_CHECKING

import click

from analytics.errors import InputError
from pipelines.posteriors import list_fits
from pipelines.progress import progress_bar
from pipelines.settings import Settings
from pipelines.tables import print_table

if TYPE_CHECKING:  # what a fit needs takes seconds to import, and no other verb waits for it
    from pipelines.fit_question import FitReport


@click.command()
@click.option("--seed", type=int, default=20_121_985, help="Seed of the sampler; the same seed gives the same fit.")
@click.option("--carry-on", is_flag=True, help="Begin with the last good fit: seconds instead of a minute.")
@click.pass_obj
def fit(settings: Settings, seed: int, *, carry_on: bool) -> None:
    """Learn from all stored tickets (about a minute). A fit that does not hold is not served.

    With --carry-on the last good fit is moved on to the tickets of today, as the dashboard does when a fit is due.
    Where the vocabulary or the workshops have changed since, or the result does not hold, a full fit follows.
    """
    report = _carry_on(settings, seed) if carry_on else None
    report = report or _fit(settings, seed)
    click.echo("\n".join(report.sentences()))
    if not report.is_published:
        raise InputError("Try again with another --seed; if it fails again, look at the Model page.")


def _carry_on(settings: Settings, seed: int) -> "FitReport | None":
    from pipelines.carried_refits import carry_last_fit

    with progress_bar("Carrying the last fit on") as advance:
        return carry_last_fit(settings, progress=advance, seed=seed)


def _fit(settings: Settings, seed: int) -> "FitReport":
    from pipelines.refits import refit

    with progress_bar("Fitting the model") as advance:
        return refit(settings, progress=advance, seed=seed)


@click.command()
@click.pass_obj
def fits(settings: Settings) -> None:
    """List all fits, newest first."""
    rows = list_fits(settings)
    if rows.empty:
        click.echo("There is no fit yet. Run `faultodds fit`.")
        return
    columns = ["fit_id", "ticket_count", "seconds", "max_rhat", "min_ess", "divergence_count", "published"]
    print_table(rows[columns].round({"seconds": 0, "max_rhat": 3, "min_ess": 0}))
