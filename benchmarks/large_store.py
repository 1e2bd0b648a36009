"""A store of any size, filled through the front door: simulated tickets written as CSV and ingested."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.scenario import make_world
from analytics.scenario_tickets import simulate_tickets
from analytics.scenario_untidy import Pen, write_rows
from pipelines.catalogue import read_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file
from pipelines.settings import Settings

SEED, SIMULATED = 20_261_125, 5_000
SHOPS = {f"Harbour {at}": f"H{at}" for at in range(1, 13)}


def make_large_store(settings: Settings, *, tickets: int, folder: Path) -> None:
    """Fills the store of `settings` with about so many tickets of twelve workshops; CSV files pass through `folder`.

    Beyond `SIMULATED` tickets the same repairs come again, on other machines and under other numbers.
    """
    vocabulary, rng = read_vocabulary(settings.vocabulary_folder), np.random.default_rng(SEED)
    world = make_world(vocabulary, tuple(SHOPS), rng)
    history = simulate_tickets(world, rng, count=min(tickets, SIMULATED), phrases={})
    folder.mkdir(parents=True, exist_ok=True)
    for shop, initials in SHOPS.items():
        rows = write_rows(history, vocabulary, rng, pen=Pen(shop, initials, "%Y-%m-%d", "%Y-%m-%d"))
        path = folder / f"{initials}.csv"
        _repeat(rows, max(1, round(tickets / SIMULATED))).to_csv(path, index=False)
        ingest_file(
            path,
            store_path=settings.store_path,
            vocabulary=vocabulary,
            shop=shop,
            column_map=read_column_map(None),
            today=datetime.now(UTC).date(),
        )


def _repeat(rows: pd.DataFrame, times: int) -> pd.DataFrame:
    copies = [
        rows.assign(ticket=rows["ticket"] + f"-{time}", machine=rows["machine"] + f"/{time}") for time in range(times)
    ]
    return pd.concat(copies, ignore_index=True)
