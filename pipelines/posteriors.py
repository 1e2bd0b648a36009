"""Posteriors as netCDF files named by their fit id, each with its row in `fits`; the newest published one is served."""

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from uuid import uuid4

import pandas as pd
import xarray as xr

from analytics.errors import InputError
from analytics.posterior import Diagnostics, Posterior
from pipelines.settings import Settings
from pipelines.store import reading, run_query, writing
from pipelines.text_models import append_text_model, read_text_model

# Draws are good to three digits at best; single precision halves the file.
_FLOAT = "float32"
# How the fit that came with a pack is named.
PACK_FIT = "pack-"


@dataclass(frozen=True)
class FitRow:
    """What is known of a fit beside its draws: `fitted_at` in UTC, `seconds` of wall time, `last_order` of the tickets
    it has seen (`ticket_order`, 0 for none).
    """

    fit_id: str
    fitted_at: datetime
    data_version: str
    priors_hash: str
    code_version: str
    seconds: float
    last_order: int


@dataclass(frozen=True)
class ServedFit:
    """The newest published fit; `last_order` as in `FitRow`."""

    fit_id: str
    last_order: int


def save_posterior(settings: Settings, posterior: Posterior, row: FitRow) -> None:
    """Writes the file aside, renames it, then writes the row: a crash leaves no row without its file."""
    write_posterior(posterior, posterior_path(settings, row.fit_id))
    diagnostics, facts = posterior.diagnostics, asdict(row)
    last_order = facts.pop("last_order")
    with writing(settings.store_path) as con:
        run_query(con, "insert_fit_reach", fit_id=row.fit_id, last_order=last_order)
        run_query(
            con,
            "insert_fit",
            **facts,
            ticket_count=posterior.ticket_count,
            max_rhat=diagnostics.max_rhat,
            min_ess=diagnostics.min_ess,
            divergence_count=diagnostics.divergence_count,
            published=diagnostics.is_publishable,
        )


def load_newest(settings: Settings) -> Posterior:
    """The newest published posterior; InputError with the command to run when there is none."""
    return load_posterior(settings, newest_fit(settings).fit_id)


def has_published_fit(settings: Settings) -> bool:
    """Whether any fit can be served."""
    with reading(settings.store_path) as con:
        return not run_query(con, "newest_published_fit").empty


def newest_fit(settings: Settings) -> ServedFit:
    """The fit that is served, and which tickets it has seen."""
    with reading(settings.store_path) as con:
        found = run_query(con, "newest_published_fit")
    if found.empty:
        raise InputError("There is no fit yet. Run `faultodds fit` (about a minute), then ask again.")
    return ServedFit(str(found["fit_id"].iloc[0]), int(found["last_order"].iloc[0]))


def load_posterior(settings: Settings, fit_id: str) -> Posterior:
    """One stored posterior."""
    path = posterior_path(settings, fit_id)
    if not path.exists():
        raise InputError(f"The draws of fit {fit_id} are missing from {path.parent.name}/. Run `faultodds fit` again.")
    return read_posterior(path)


def list_fits(settings: Settings) -> pd.DataFrame:
    """All fits, newest first, published or not (columns of `fits`)."""
    with reading(settings.store_path) as con:
        return run_query(con, "fits_so_far")


def posterior_path(settings: Settings, fit_id: str) -> Path:
    """Where the draws of a fit lie."""
    return settings.posteriors_folder / f"{fit_id}.nc"


def write_posterior(posterior: Posterior, path: Path) -> None:
    """One file; attributes carry what is not an array."""
    path.parent.mkdir(parents=True, exist_ok=True)
    about = {"fit_id": posterior.fit_id, "ticket_count": posterior.ticket_count, **asdict(posterior.diagnostics)}
    about["has_text"] = posterior.text is not None
    draws = posterior.draws.assign_attrs(faultodds=json.dumps(about))
    encoding = {
        name: {"dtype": _FLOAT, "zlib": True, "complevel": 1}
        for name, values in draws.data_vars.items()
        if values.dtype.kind == "f"
    }
    aside = path.with_name(f".{uuid4().hex}.nc")
    try:
        draws.to_netcdf(aside, engine="netcdf4", encoding=encoding)
        if posterior.text is not None:
            append_text_model(posterior.text, aside)
        aside.replace(path)
    finally:
        aside.unlink(missing_ok=True)


def read_posterior(path: Path) -> Posterior:
    """The inverse of `write_posterior`, loaded into memory."""
    draws = xr.load_dataset(path, engine="netcdf4")
    about = json.loads(draws.attrs.pop("faultodds"))
    fit_id, ticket_count = about.pop("fit_id"), about.pop("ticket_count")
    text = read_text_model(path) if about.pop("has_text") else None
    return Posterior(fit_id, draws, Diagnostics(**about), ticket_count, text)
