"""The command line asks a server that really runs: dashboard and API in one, started as a shop starts it."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.access_tokens import make_token, revoke_token
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.cli import main
from pipelines.history import read_tickets
from pipelines.intake import save_ticket
from pipelines.posteriors import FitRow, save_posterior
from pipelines.settings import Settings

pytestmark = pytest.mark.slow

TODAY = date(2026, 11, 25)
START_SECONDS = 60
TICKET = {"shop": "Pier", "ticket_number": "till-1", "opened_on": "2026-03-31", "symptom": "Grab is stuck"}

Run = Callable[..., tuple[int, str]]


@pytest.fixture(scope="module")
def shop(
    tmp_path_factory: pytest.TempPathFactory, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> Iterator[Settings]:
    """A shop with a fit, one ticket and the tokens `till` and `lead`."""
    settings = Settings(tmp_path_factory.mktemp("shop"))
    write_vocabulary(tiny_vocabulary, settings.data_folder / "vocabulary")
    first = TicketRow(shop="Harbour", ticket_number="1", opened_on=date(2020, 5, 1), symptom="dark")
    save_ticket(first, store_path=settings.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    save_posterior(
        settings, tiny_posterior, FitRow("hand-made", datetime.now(UTC), "", "", "", seconds=0.0, last_order=1)
    )
    for name, role in (("till", "technician"), ("lead", "lead")):
        (settings.data_folder / name).write_text(make_token(settings, name=name, role=role, today=TODAY))
    yield settings
    shutil.rmtree(settings.data_folder)


@pytest.fixture(scope="module")
def server(shop: Settings) -> Iterator[str]:
    """Address of `faultodds serve`; it is stopped by its own number."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    command = [sys.executable, "-c", "from pipelines.cli import main; main()"]
    command += ["--data", str(shop.data_folder), "serve", "--port", str(port)]
    environment = {**os.environ, "FAULTODDS_REFIT": "by_hand"}
    log = shop.data_folder / "server.log"
    with log.open("w") as out, subprocess.Popen(command, env=environment, stdout=out, stderr=out) as process:
        try:
            wait_until_there(f"{address}/_stcore/health", process, log)
            yield address
        finally:
            process.send_signal(signal.SIGTERM)
    assert process.returncode == 0
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(f"{address}/_stcore/health", timeout=2)
    assert not any((shop.data_folder / name).read_text() in log.read_text() for name in ("till", "lead"))


@pytest.fixture
def run(shop: Settings, server: str, capsys: pytest.CaptureFixture[str]) -> Run:
    """`faultodds remote WORDS` with the token of `till`, or that of `who`."""

    def call(*words: str, who: str = "till", url: str = server) -> tuple[int, str]:
        try:
            main(["remote", "--server", url, "--token-file", str(shop.data_folder / who), *words])
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        told = capsys.readouterr()
        return code, told.out + told.err

    return call


def wait_until_there(url: str, process: "subprocess.Popen[bytes]", log: Path) -> None:
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    pytest.fail(f"The server did not start within {START_SECONDS} s. It said: {log.read_text()[-2000:]}")


def test_suspects_and_next_check_come_from_the_server(run: Run) -> None:
    code, told = run("suspects", "grab is stuck", "--family", "crane", "--done", "look_at_plug=clear")
    assert code == 0
    assert "Plug loose: about" in told
    assert "First check:" in told
    as_data = json.loads(run("suspects", "stuck", "--json")[1])
    assert {"suspects", "next"} <= set(as_data)


def test_tickets_are_handed_in_once_and_the_first_refused_one_is_named(
    run: Run, shop: Settings, tmp_path: Path
) -> None:
    file = tmp_path / "tickets.json"
    second = {**TICKET, "ticket_number": "till-2", "opened_on": "2999-01-01"}
    file.write_text(json.dumps([TICKET, second]))
    code, told = run("ticket", str(file))
    assert code == 1, told
    assert "Ticket till-1 of Pier is stored." in told
    assert "Entry 2 was not handed in. The server says: opened_on '2999-01-01' is after today" in told
    file.write_text(json.dumps([TICKET]))
    again = run("ticket", str(file))[1]
    assert "known already and says the same" in again, again
    assert sorted(read_tickets(shop.store_path)["ticket_number"]) == ["1", "till-1"]


def test_what_the_server_refuses_is_said(run: Run, shop: Settings) -> None:
    assert run("review") == (1, "The server says: A token of the role 'technician' may not do this. It takes: lead or "
                                "club.\n")  # fmt: skip
    assert "No symptom is called 'haunted'" in run("suspects", "haunted")[1]
    (shop.data_folder / "gone").write_text(make_token(shop, name="gone", role="lead", today=TODAY))
    revoke_token(shop, "gone")
    assert "not known, or was revoked" in run("review", who="gone")[1]


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("http://127.0.0.1:9", "No server answers at http://127.0.0.1:9"),
        ("127.0.0.1:8770", "is no address of a server. Write it like http://"),
        ("http://[", "No server answers"),
    ],
)
def test_a_server_that_is_not_there_is_said(run: Run, url: str, says: str) -> None:
    code, told = run("review", url=url)
    assert (code, says in told) == (1, True), told


def test_another_page_of_the_server_is_no_api(run: Run, server: str) -> None:
    assert "not as a faultodds server" in run("review", url=f"{server}/elsewhere")[1]


def test_a_missing_token_file_is_said(run: Run) -> None:
    assert "No token can be read from 'nowhere'" in run("review", who="nowhere")[1]


def test_the_lead_reads_the_review(run: Run, shop: Settings) -> None:
    code, told = run("review", who="lead")
    # what the server does not tell strangers is in its log
    assert code == 0, told + (shop.data_folder / "server.log").read_text(encoding="utf-8")[-4000:]
    assert "?" in told
