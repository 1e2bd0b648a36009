"""Verbs about the model: fit, fits."""

import click

from analytics.errors import InputError
from pipelines.posteriors import list_fits
from pipelines.progress import progress_bar
from pipelines.settings import Settings
from pipelines.tables import print_table


@click.command()
@click.option("--seed", type=int, default=None, help="Seed of the sampler; the same seed gives the same fit.")
@click.pass_obj
def fit(settings: Settings, seed: int | None) -> None:
    """Learn from all stored tickets (about a minute). A fit that does not hold is not served."""
    # PyMC takes seconds to import; only the two verbs that fit wait for it.
    from pipelines.refits import DEFAULT_SEED, refit

    with progress_bar("Fitting the model") as advance:
        report = refit(settings, progress=advance, seed=DEFAULT_SEED if seed is None else seed)
    click.echo("\n".join(report.sentences()))
    if not report.is_published:
        raise InputError("Try again with another --seed; if it fails again, look at the Model page.")


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
