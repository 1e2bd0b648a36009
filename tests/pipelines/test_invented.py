"""A first look on invented tickets leaves no trace in the store that real ones go into."""

from datetime import date
from pathlib import Path

import pytest

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.history import read_tickets
from pipelines.intake import save_ticket
from pipelines.invented import fill_with_invented, has_invented, refuse_mixing, set_invented_aside
from pipelines.refit_status import refit_lock
from pipelines.settings import Settings

pytestmark = pytest.mark.slow

TODAY = date(2026, 11, 25)


def test_invented_tickets_go_in_and_out_and_nothing_is_deleted(tmp_path: Path) -> None:
    settings = Settings(tmp_path)
    fill_with_invented(settings)
    assert len(read_tickets(settings.store_path, limit=10_000)) > 5_000
    with pytest.raises(InputError, match="invented tickets, which would spoil"):
        refuse_mixing(settings)
    with refit_lock(settings), pytest.raises(InputError, match="A fit runs"):
        set_invented_aside(settings)
    went = set_invented_aside(settings)
    assert not settings.store_path.exists()
    assert not has_invented(settings)
    assert len(read_tickets(went / settings.store_path.name, limit=10_000)) > 5_000


def test_a_store_of_real_tickets_takes_none_and_goes_nowhere(tmp_path: Path, tiny_vocabulary: Vocabulary) -> None:
    settings = Settings(tmp_path)
    write_vocabulary(tiny_vocabulary, settings.data_folder / "vocabulary")
    ticket = TicketRow("Pier", "1", date(2020, 5, 1), symptom="stuck", suspects=("coil_open",))
    save_ticket(ticket, store_path=settings.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    with pytest.raises(InputError, match="tickets of your own"):
        fill_with_invented(settings)
    with pytest.raises(InputError, match="stay where they are"):
        set_invented_aside(settings)
    assert len(read_tickets(settings.store_path)) == 1
