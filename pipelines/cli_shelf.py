"""The verbs `shelf order`, `shelf parts` and `shelf donor`: what to order, and whether a donor machine pays."""

import re
from pathlib import Path

import click

from analytics.donor import Good
from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.cli_review import print_parts
from pipelines.donor_offers import HORIZON_YEARS, Offer, value_offer
from pipelines.matching import match_spellings, phrase_books
from pipelines.prior_sources import load_prior
from pipelines.review_donor import offer_part
from pipelines.review_shelf import order_parts
from pipelines.reviews import refuse_empty
from pipelines.settings import Settings
from pipelines.shelf_demand import read_part_demand
from pipelines.shelf_files import PARTS_NAME, parts_as_csv, read_parts, read_parts_file, save_parts
from pipelines.shelf_orders import HOLDING, SERVICE, Aim, order_table, table_as_csv
from pipelines.store import utc_now
from pipelines.wording import counted

_GOOD = re.compile(r"(?P<component>[^=]+)=(?P<chance>[0-9.]+)(?:x(?P<units>[0-9]+))?")
FILE = click.Path(dir_okay=False, path_type=Path)


@click.group()
def shelf() -> None:
    """Spare parts: what to order, the list of parts, and whether a donor machine pays."""


@shelf.command()
@click.option("--service", default=SERVICE, show_default=True, help="Chance that a part is there when it is wanted.")
@click.option("--waiting", type=float, help="What a machine that waits costs a day; then costs decide, not --service.")
@click.option(
    "--holding", default=HOLDING, show_default=True, help="What a part on the shelf costs a year, of its price."
)
@click.option("--shop", default="", help="Only tickets of this workshop.")
@click.option("--csv", "csv_path", type=FILE, help="Write the order list to FILE.")
@click.pass_obj
def order(
    settings: Settings, *, service: float, waiting: float | None, holding: float, shop: str, csv_path: Path | None
) -> None:
    """List what to order now, from the tickets and the list of parts."""
    refuse_empty(settings)
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    aim = Aim(service, waiting, holding)
    before = load_prior(settings, vocabulary)
    demand = read_part_demand(settings, vocabulary, before, today=utc_now().date(), shop=shop)
    rows = read_parts(settings, vocabulary)
    figures = order_parts(demand, rows, aim)
    if csv_path is None:
        print_parts(iter([("shelf", figures)]))
        return
    orders = order_table(demand, rows, aim)
    _write(csv_path, table_as_csv(orders))
    click.echo(f"{figures[0].finding}\n{counted(len(orders), 'row')} written to {csv_path}.")
    for lacking in figures[1:]:
        click.echo(f"{lacking.question} {lacking.finding}")


@shelf.command()
@click.argument("path", metavar="[FILE]", required=False, type=FILE)
@click.option("--csv", "csv_path", type=FILE, help="Write the list as it is, every part in it, to FILE to edit.")
@click.pass_obj
def parts(settings: Settings, path: Path | None, csv_path: Path | None) -> None:
    """Take in an edited list of parts (stock, orders, prices, lead times), or write the present one."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    if (path is None) == (csv_path is None):
        raise InputError("Give either an edited FILE to take in, or --csv FILE to write the list to.")
    if path is not None:
        listed = save_parts(settings, read_parts_file(path, vocabulary), vocabulary)
        click.echo(f"{PARTS_NAME} now says something of {counted(listed, 'part')}.")
    elif csv_path is not None:
        rows = read_parts(settings, vocabulary)
        _write(csv_path, parts_as_csv(rows))
        click.echo(
            f"{counted(len(rows), 'part')} written to {csv_path}. Fill it in, then `faultodds shelf parts FILE`."
        )


@shelf.command()
@click.option("--family", required=True, help="Kind of the donor machine.")
@click.option("--price", required=True, type=float, help="What it costs, transport included.")
@click.option("--floor", default=0.0, show_default=True, help="What its place on the floor costs a year.")
@click.option("--years", default=HORIZON_YEARS, show_default=True, help="How long its parts are kept.")
@click.option(
    "--good", multiple=True, help="COMPONENT=CHANCE that it is good, or COMPONENT=CHANCExUNITS; again for more."
)
@click.option("--waiting", type=float, help="What doing without a part costs that has no price.")
@click.pass_obj
def donor(
    settings: Settings,
    *,
    family: str,
    price: float,
    floor: float,
    years: float,
    good: tuple[str, ...],
    waiting: float | None,
) -> None:
    """Say whether a donor machine pays, e.g. --family crane_grab --price 150 --good drive_belt=0.9."""
    refuse_empty(settings)
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    offer = Offer(
        family=_find_family(vocabulary, family),
        price=price,
        floor_per_year=floor,
        years=years,
        good=dict(read_good(each) for each in good),
        waiting=waiting,
    )
    answer = value_offer(settings, vocabulary, load_prior(settings, vocabulary), offer, today=utc_now().date())
    print_parts(iter([("donor", (offer_part(answer, offer, vocabulary),))]))


def read_good(written: str) -> tuple[str, Good]:
    """A component and what is believed of it, from "drive_belt=0.9" or "lamp=0.8x6"; InputError for anything else."""
    found = _GOOD.fullmatch("".join(written.split()))
    try:
        chance = float(found["chance"]) if found else -1.0
    except ValueError:
        chance = -1.0
    if found is None or not 0.0 <= chance <= 1.0:
        raise InputError(
            f"'{written}' is no assembly with its chance. Write it like drive_belt=0.9, or lamp=0.8x6 for six."
        )
    return found["component"], Good(chance, int(found["units"] or 1))


def _find_family(vocabulary: Vocabulary, written: str) -> str:
    match = match_spellings([written], phrase_books(vocabulary)["family"])[written]
    if not match.code:
        raise InputError(f"No kind of machine is called '{written}'. Closest: {', '.join(match.closest)}.")
    return match.code


def _write(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as error:
        raise InputError(f"'{path}' cannot be written ({error.strerror}). Give another file name.") from error
