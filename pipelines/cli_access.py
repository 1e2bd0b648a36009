"""Verbs that say who may enter: `token` for programs, `access` for people in front of the dashboard."""

from datetime import UTC, datetime

import click
import pandas as pd

from analytics.errors import InputError
from pipelines.access_people import forget_person, list_people, name_person
from pipelines.access_phrases import LONGEST, SHORTEST, forget_phrase, roles_with_phrase, set_phrase
from pipelines.access_provider import forget_provider, sent_back_to, set_provider
from pipelines.access_roles import ROLES
from pipelines.access_tokens import list_tokens, make_token, revoke_token
from pipelines.settings import Settings
from pipelines.tables import print_table

ROLE = click.Choice(ROLES)


@click.group()
def token() -> None:
    """Tokens with which a shop's own forms and sheets ask the JSON API."""


@token.command("make")
@click.option("--role", type=ROLE, required=True, help="What the token may do.")
@click.option("--name", required=True, help="What it is for, e.g. 'till form'.")
@click.pass_obj
def make(settings: Settings, role: str, name: str) -> None:
    """Make a token and show it once; only its hash is kept."""
    text = make_token(settings, name=name, role=role, today=datetime.now(UTC).date())
    click.echo("Keep this token like a key; it cannot be shown again:", err=True)
    click.echo(text)


@token.command("list")
@click.pass_obj
def show(settings: Settings) -> None:
    """List the tokens: name, role, day they were made."""
    tokens = list_tokens(settings)
    if not tokens:
        click.echo("There are no tokens. Make one with `faultodds token make --role technician --name 'till form'`.")
        return
    print_table(pd.DataFrame([{"name": each.name, "role": each.role, "made_on": each.made_on} for each in tokens]))


@token.command("revoke")
@click.argument("name")
@click.pass_obj
def revoke(settings: Settings, name: str) -> None:
    """Refuse the token of this NAME from now on."""
    revoke_token(settings, name)
    click.echo(f"The token '{name}' is not accepted any more.")


@click.group()
def access() -> None:
    """Who may open the dashboard when it is served beyond this machine."""


@access.command("passphrase")
@click.option("--role", type=ROLE, required=True, help="What the phrase opens.")
@click.option("--forget", is_flag=True, help="Take the phrase of this role away.")
@click.pass_obj
def passphrase(settings: Settings, role: str, *, forget: bool) -> None:
    """Set the pass phrase of a role (asked twice, not shown, kept as a hash)."""
    if forget:
        forget_phrase(settings, role)
        click.echo(f"The pass phrase of '{role}' is not accepted any more.")
        return
    phrase = click.prompt(f"Pass phrase for {role} ({SHORTEST} to {LONGEST} characters)", hide_input=True, err=True)
    if phrase != click.prompt("The same again", hide_input=True, err=True):
        raise InputError("The two did not match; nothing was changed. Run the command again.")
    set_phrase(settings, role, phrase)
    click.echo(f"From now on the dashboard asks for a pass phrase; this one opens it as '{role}'.")


@access.command("provider")
@click.option("--dashboard", help="Address of the dashboard as people type it: https://bench.workshop.example:8765.")
@click.option("--metadata", help="The provider's discovery document: https://.../.well-known/openid-configuration.")
@click.option("--client-id", help="The name under which the provider knows the dashboard.")
@click.option("--forget", is_flag=True, help="Take the provider away.")
@click.pass_obj
def provider(
    settings: Settings, dashboard: str | None, metadata: str | None, client_id: str | None, *, forget: bool
) -> None:
    """Let people sign in through an identity provider (OpenID Connect); its client secret is asked, not shown."""
    if forget:
        forget_provider(settings)
        click.echo("Nobody signs in through the identity provider any more.")
        return
    if not (dashboard and metadata and client_id):
        raise InputError("Give --dashboard, --metadata and --client-id, or --forget.")
    secret = click.prompt("Client secret that the provider gave", hide_input=True, err=True)
    back = set_provider(settings, dashboard=dashboard, metadata_url=metadata, client_id=client_id, client_secret=secret)
    click.echo(f"Register {back} at the provider, as the address it sends people back to after sign-in and sign-out.")
    click.echo("Then say who may enter: `faultodds access person EMAIL --role technician`. It holds once the dashboard "
               "is started anew.")  # fmt: skip


@access.command("person")
@click.argument("email")
@click.option("--role", type=ROLE, help="What this person may do, when signed in through an identity provider.")
@click.option("--forget", is_flag=True, help="Take the role away.")
@click.pass_obj
def person(settings: Settings, email: str, role: str | None, *, forget: bool) -> None:
    """Give a role to EMAIL for sign-in through OpenID Connect."""
    if forget == (role is not None):
        raise InputError("Give either --role ROLE or --forget.")
    if role is None:
        forget_person(settings, email)
        click.echo(f"{email} has no role any more.")
        return
    name_person(settings, email, role)
    click.echo(f"{email} enters as '{role}'.")


@access.command("list")
@click.pass_obj
def entries(settings: Settings) -> None:
    """List which roles have a pass phrase, whether there is an identity provider, and who has a role."""
    rows = [{"who": "pass phrase", "role": role} for role in roles_with_phrase(settings)]
    rows += [{"who": "identity provider", "role": f"sends back to {back}"}] if (back := sent_back_to(settings)) else []
    rows += [{"who": email, "role": role} for email, role in list_people(settings).items()]
    if not rows:
        click.echo("No sign-in is set up: the dashboard opens on this machine only.")
        return
    print_table(pd.DataFrame(rows))
