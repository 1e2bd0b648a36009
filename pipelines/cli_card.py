"""The verbs `card` and `discharge`: a page to take to the bench, and how long a capacitor stays charged."""

from pathlib import Path

import click

from analytics.cautions import DEFER, RESIDUAL_LIMITS, discharge_seconds
from analytics.errors import InputError
from pipelines.bench_advice import serve_advice
from pipelines.bench_cards import BenchCard, card_html, make_card
from pipelines.catalogue import read_vocabulary
from pipelines.live import load_live
from pipelines.sessions import read_session
from pipelines.settings import Settings


@click.command()
@click.argument("code")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="File to write: .html or .pdf.")
@click.option("--address", default="", help="Address of the dashboard, for the square code on the card.")
@click.pass_obj
def card(settings: Settings, code: str, out: Path, address: str) -> None:
    """Write the bench card of the session CODE: suspects, plan to tick off, cautions, room for notes."""
    if out.suffix.lower() not in (".html", ".pdf"):
        raise InputError(f"'{out.name}' is no card that can be written. Give a name that ends in .html or .pdf.")
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    session = read_session(settings.store_path, code)
    posterior = load_live(settings, vocabulary).posterior
    advice = serve_advice(settings.store_path, session, posterior=posterior, vocabulary=vocabulary)
    made = make_card(session, advice, vocabulary, address=address)
    content = _pdf(made) if out.suffix.lower() == ".pdf" else card_html(made).encode("utf-8")
    try:
        out.write_bytes(content)
    except OSError as error:
        raise InputError(f"'{out.name}' cannot be written ({error.strerror}). Choose another place.") from error
    click.echo(f"The card of session {session.code} is in {out}. Print it on A4.")


@click.command()
@click.argument("volts", type=float)
@click.argument("kiloohms", type=float)
@click.argument("microfarads", type=float)
def discharge(volts: float, kiloohms: float, microfarads: float) -> None:
    """How long a capacitor of MICROFARADS at VOLTS takes to fall to published limits through KILOOHMS."""
    for limit in RESIDUAL_LIMITS:
        seconds = discharge_seconds(volts, 1e3 * kiloohms, 1e-6 * microfarads, limit.volts)
        verdict = "within" if seconds <= limit.seconds else "not within"
        click.echo(f"{limit.source}: {limit.volts:g} V after {seconds:.1f} s, {verdict} its {limit.seconds:g} s.")
    click.echo(f"That holds if the resistor is sound; it may be open. Measure before touching. {DEFER}")


def _pdf(made: BenchCard) -> bytes:
    # loading what draws PDF takes longer than most verbs do
    from pipelines.bench_card_pdf import card_pdf

    return card_pdf(made)
