"""Runs the dashboard's server until it is stopped; what lies beyond this machine gets in through the sign-in only."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import click

from analytics.errors import InputError
from pipelines.access_provider import find_provider, refuse_lost_way, sent_back_to
from pipelines.serving import Place, check_place, served_hosts
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.sign_in_rules import refuse_open_door

# Asked to stop, by Ctrl-C or a signal.
ENDED = (0, 130, -signal.SIGINT, -signal.SIGTERM)
APP = Path(__file__).resolve().parents[1] / "dashboards" / "asgi.py"


def run_dashboard(settings: Settings, place: Place) -> None:
    """Serves until Ctrl-C.

    Raises
    ------
    InputError
        When the place cannot be used, strangers could walk in, or the server stops by itself.
    """
    refuse_open_door(settings, place)
    check_place(place)
    refuse_lost_way(settings, place)
    # a sign-in that begins under another name than it ends would be lost: the browser keeps cookies by name
    url = sent_back_to(settings) or place.url
    click.echo(f"The dashboard is at {url}, the JSON API at {url}/api (stop it with Ctrl-C).", err=True)
    if not place.is_loopback and place.certificate is None:
        click.echo(
            "Others on the network could read pass phrases on their way. Give --certificate and --key.", err=True
        )
    environment = {**os.environ, DATA_VARIABLE: str(settings.data_folder)}
    command = dashboard_command(settings, place)
    with subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL) as server:
        # what stops this process (a service manager, say) must stop the server too, or it would hold the port
        signal.signal(signal.SIGTERM, lambda *_: server.terminate())
        code = server.wait()
    if code not in ENDED:
        raise InputError(f"The dashboard stopped by itself. Is port {place.port} in use? Try --port {place.port + 1}.")


def dashboard_command(settings: Settings, place: Place) -> list[str]:
    """The command line of the server; no secret is on it, every account of the machine can read command lines."""
    options = {
        "server.port": str(place.port),
        "server.headless": "true",
        "server.address": place.address,
        "browser.serverAddress": served_hosts(place)[-1],
    }
    if place.certificate and place.key:
        options |= {"server.sslCertFile": place.certificate, "server.sslKeyFile": place.key}
    provider = find_provider(settings)
    if provider is not None:
        options["secrets.files"] = str(provider)
    pairs = [*options.items(), *(("server.allowedHosts", name) for name in served_hosts(place))]
    flags = [part for name, value in pairs for part in (f"--{name}", value)]
    return [sys.executable, "-m", "streamlit", "run", str(APP), *flags]
