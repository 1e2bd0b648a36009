"""The verb `remote`: suspects, tickets and review of a server elsewhere in the shop, over its JSON API."""

import json
from pathlib import Path
from typing import Any
from urllib.parse import quote

import click

from analytics.errors import InputError
from pipelines.remote import Server, ask, find_server
from pipelines.wording import counted


@click.group()
@click.option("--server", "url", envvar="FAULTODDS_SERVER", required=True, help="Address, e.g. http://127.0.0.1:8770.")
@click.option(
    "--token-file",
    envvar="FAULTODDS_TOKEN_FILE",
    required=True,
    type=click.Path(path_type=Path),
    help="File that holds the token.",
)
@click.pass_context
def remote(context: click.Context, url: str, token_file: Path) -> None:
    """Ask a faultodds server elsewhere (address and token file may stand in FAULTODDS_SERVER, FAULTODDS_TOKEN_FILE)."""
    context.obj = find_server(url, token_file)


@remote.command("suspects")
@click.argument("symptom")
@click.option("--family", default="", help="Kind of machine, by code or name.")
@click.option("--shop", default="", help="Workshop.")
@click.option("--machine", default="", help="Name of the machine in that workshop: its last repair counts.")
@click.option("--year", type=int, default=None, help="Year of manufacture; leave out when unknown.")
@click.option("--done", multiple=True, metavar="CHECK=OUTCOME", help="A check already made; may be given many times.")
@click.option("--complaint", default="", help="The owner's own words.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of sentences.")
@click.pass_obj
def suspects(server: Server, *, done: tuple[str, ...], year: int | None, as_json: bool, **words: str) -> None:
    """Show which suspects are likely for SYMPTOM, and which check to make next."""
    body = {**words, "built_year": year, "checks": [_made_check(text) for text in done]}
    found, following = ask(server, "suspects", body), ask(server, "next-check", body)
    if as_json:
        click.echo(json.dumps({**found, "next": following}, indent=2))
        return
    notes = [found["came_back"], ""] if found["came_back"] else []
    click.echo("\n".join([*notes, *(f"  {line['name']}: {line['in_words']}" for line in found["suspects"])]))
    like = found["like_tickets_symptom"]
    click.echo(f"\nBehind this: {counted(like, 'ticket')} with this symptom.\n\n{following['in_words']}")


@remote.command("ticket")
@click.argument("file", type=click.File("r", encoding="utf-8"))
@click.pass_obj
def ticket(server: Server, file: Any) -> None:
    """Hand in a closed repair: FILE is one JSON object or a list of them (- for standard input)."""
    try:
        read = json.load(file)
    except ValueError:
        raise InputError("The file is not JSON. /api/openapi.json of the server describes a ticket.") from None
    tickets = read if isinstance(read, list) else [read]
    for number, each in enumerate(tickets, start=1):
        if not isinstance(each, dict):
            raise InputError(f"Entry {number} is no object with the fields of a ticket. {number - 1} were handed in.")
        try:
            click.echo(ask(server, "tickets", each)["sentence"])
        except InputError as problem:
            raise InputError(f"Entry {number} was not handed in. {problem}") from None


@remote.command("review")
@click.argument("part", default="")
@click.option("--json", "as_json", is_flag=True, help="Print all rows as JSON.")
@click.pass_obj
def review(server: Server, part: str, *, as_json: bool) -> None:
    """Show what the review of the shop found, figure by figure."""
    parts = ask(server, f"review/{quote(part, safe='')}" if part else "review")["parts"]
    if as_json:
        click.echo(json.dumps(parts, indent=2))
        return
    for figure in (figure for figures in parts.values() for figure in figures):
        click.echo(f"{figure['question']}\n  {figure['finding']}")


def _made_check(text: str) -> dict[str, str]:
    check, _, outcome = text.partition("=")
    return {"check": check.strip(), "outcome": outcome.strip()}
