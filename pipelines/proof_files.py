"""What was found about a fit, kept as JSON in the data folder; read without the libraries that find it."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from uuid import uuid4

from analytics.predictive import Entry, TableCheck
from pipelines.settings import Settings

PROOF_NAME = "proof.json"
# The simpler model that only counts each symptom's tickets.
COUNTS = "counts"


@dataclass(frozen=True)
class Simpler:
    """A simpler model: log scores it loses (negative) or gains over `ticket_count` tickets, and the standard error;
    `unreliable_share` of tickets whose estimate is not to be relied on.
    """

    name: str
    ticket_count: float
    nats: float
    standard_error: float
    unreliable_share: float


@dataclass(frozen=True)
class Proof:
    """What was found about one fit. `mean_log_score`: ln P(written suspect) of a named ticket left out, on average."""

    fit_id: str
    ticket_count: int
    diagnostics: str
    holds: bool
    tables: tuple[TableCheck, ...]
    mean_log_score: float
    unreliable_share: float
    simpler: tuple[Simpler, ...]


def save_proof(settings: Settings, proof: Proof) -> Path:
    """Writes `proof.json` into the data folder, aside first, so that no reader meets half of it."""
    path = settings.data_folder / PROOF_NAME
    aside = path.with_name(f".{uuid4().hex}.json")
    try:
        aside.write_text(json.dumps(asdict(proof), indent=1) + "\n", encoding="utf-8")
        aside.replace(path)
    finally:
        aside.unlink(missing_ok=True)
    return path


def read_proof(settings: Settings) -> Proof | None:
    """The newest stored proof, if there is one."""
    path = settings.data_folder / PROOF_NAME
    if not path.exists():
        return None
    told = json.loads(path.read_text(encoding="utf-8"))
    tables = tuple(_read_table(table) for table in told.pop("tables"))
    simpler = tuple(Simpler(**one) for one in told.pop("simpler"))
    return Proof(**told, tables=tables, simpler=simpler)


def _read_table(told: dict[str, Any]) -> TableCheck:
    worst = tuple(Entry(**{**entry, "codes": tuple(entry["codes"])}) for entry in told["worst"])
    return TableCheck(**{**told, "worst": worst})
