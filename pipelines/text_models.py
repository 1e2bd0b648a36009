"""What words told, as arrays in the file of the fit they belong to."""

import json
from pathlib import Path

import numpy as np
import xarray as xr

from analytics.complaint import TextModel

# A group of the netCDF file beside the draws, which are its root.
GROUP = "text"


def append_text_model(model: TextModel, path: Path) -> None:
    """Adds the model to a netCDF file that has the draws already."""
    dataset = xr.Dataset(
        {
            "idf": (("term",), model.idf),
            "symptom_log_share": (("symptom",), model.symptom_log_share),
            "symptom_weight": (("symptom", "term"), model.symptom_weight),
            "suspect_weight": (("suspect", "term"), model.suspect_weight),
        },
        coords={
            "term": np.array(model.terms, dtype=object),
            "symptom": list(model.symptoms),
            "suspect": list(model.suspects),
        },
        attrs={"faultodds": json.dumps(_about(model))},
    )
    encoding = {name: {"dtype": "float32", "zlib": True, "complevel": 1} for name in dataset.data_vars}
    dataset.to_netcdf(path, mode="a", group=GROUP, engine="netcdf4", encoding=encoding)


def read_text_model(path: Path) -> TextModel:
    """The inverse of `append_text_model`, to single precision."""
    dataset = xr.load_dataset(path, engine="netcdf4", group=GROUP)
    arrays = {str(name): values.values.astype(float) for name, values in dataset.data_vars.items()}
    about = json.loads(dataset.attrs["faultodds"])
    return TextModel(
        terms=_codes(dataset, "term"),
        idf=arrays["idf"],
        symptoms=_codes(dataset, "symptom"),
        symptom_log_share=arrays["symptom_log_share"],
        symptom_weight=arrays["symptom_weight"],
        suspects=_codes(dataset, "suspect"),
        suspect_weight=arrays["suspect_weight"],
        ticket_count=int(about["ticket_count"]),
        temperature=float(about["temperature"]),
        gain=float(about["gain"]),
    )


def _codes(dataset: xr.Dataset, dim: str) -> tuple[str, ...]:
    return tuple(str(code) for code in dataset[dim].values)


def _about(model: TextModel) -> dict[str, float]:
    return {"ticket_count": model.ticket_count, "temperature": model.temperature, "gain": model.gain}
