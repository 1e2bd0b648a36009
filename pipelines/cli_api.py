"""The verb `api`: serves the JSON API without the dashboard."""

import click

from pipelines.access_tokens import list_tokens
from pipelines.serving import LOOPBACK, Place, check_place, served_hosts
from pipelines.settings import Settings

DEFAULT_API_PORT = 8770


@click.command()
@click.option("--port", type=click.IntRange(1024, 65535), default=DEFAULT_API_PORT, show_default=True)
@click.option("--address", default=LOOPBACK, show_default=True, help="Address to listen on; 0.0.0.0 for all.")
@click.option("--host-name", multiple=True, help="A name under which others reach this machine; may be repeated.")
@click.option("--certificate", type=click.Path(dir_okay=False), help="Certificate file, to serve encrypted.")
@click.option("--key", type=click.Path(dir_okay=False), help="Key file of the certificate.")
@click.pass_obj
def api(
    settings: Settings, port: int, address: str, host_name: tuple[str, ...], certificate: str | None, key: str | None
) -> None:
    """Serve the JSON API for the shop's own forms and sheets (stop it with Ctrl-C)."""
    import uvicorn

    from pipelines.api_app import make_server_app

    place = check_place(Place(address, port, host_name, certificate, key))
    click.echo(f"The API is at {place.url}/api; its description at {place.url}/api/openapi.json.", err=True)
    if not list_tokens(settings):
        click.echo("There is no token yet: `faultodds token make --role technician --name 'till form'`.", err=True)
    if not place.is_loopback and certificate is None:
        click.echo("Others on the network could read tokens on their way. Give --certificate and --key.", err=True)
    app = make_server_app(settings, hosts=served_hosts(place))
    # no line a request: nothing that somebody wrote, and no token, can get into a log
    uvicorn.run(
        app,
        host=address,
        port=port,
        log_level="warning",
        access_log=False,
        server_header=False,
        ssl_certfile=certificate,
        ssl_keyfile=key,
    )
