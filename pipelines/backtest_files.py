"""What a backtest found, kept as JSON in the data folder; read without the libraries that fit."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

import pandas as pd

from pipelines.settings import Settings

FILE_NAME = "backtest.json"
FRAMES = ("folds", "table", "calibration")
# A symptom that merely went away says too little about the suspect to judge anybody by.
SCORED_CONFIRMATIONS = ("reproduced_and_cured", "cured")
SCORED_SENTENCE = (
    "Scored are tickets confirmed as reproduced and cured, or cured, comebacks among them. All tickets are learnt from."
)


@dataclass(frozen=True, eq=False)
class Backtest:
    """What a backtest found.

    Parameters
    ----------
    made_at : UTC
    folds : frame: start, end (days), learnt_from, scored (tickets), max_rhat, min_ess, divergence_count
    table : frame of `analytics.backtest.summarise_scores`
    calibration : frame: forecast_mean, observed_rate, count, low, high, of every suspect of the model's lists
    """

    made_at: datetime
    folds: pd.DataFrame
    table: pd.DataFrame
    calibration: pd.DataFrame


def as_data(found: Backtest) -> dict[str, Any]:
    """The same for JSON."""
    frames = {name: getattr(found, name).to_dict(orient="records") for name in FRAMES}
    return {"made_at": found.made_at.isoformat(), "scored": SCORED_SENTENCE, **frames}


def save_backtest(settings: Settings, found: Backtest) -> None:
    """Keeps the newest one; written aside and renamed."""
    aside = settings.data_folder / f".{uuid4().hex}.json"
    aside.write_text(json.dumps(as_data(found), indent=1), encoding="utf-8")
    aside.replace(settings.data_folder / FILE_NAME)


def read_backtest(settings: Settings) -> Backtest | None:
    """The newest stored backtest, if there is one."""
    path = settings.data_folder / FILE_NAME
    if not path.exists():
        return None
    told = json.loads(path.read_text(encoding="utf-8"))
    return Backtest(datetime.fromisoformat(told["made_at"]), *(pd.DataFrame(told[name]) for name in FRAMES))
