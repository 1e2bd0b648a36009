"""How stored draws are laid out: coordinates, and the positions by which readers find what belongs together."""

from typing import Any

import numpy as np

from analytics.model_inputs import ModelInputs


def layout_positions(inputs: ModelInputs) -> dict[str, Any]:
    """Variables of `Posterior.draws` that have no `draw`: age_share, companion_present and the positions by row."""
    links, table = inputs.links, inputs.checks
    return {
        "age_share": (("family_or_new", "age"), inputs.age_share),
        "companion_present": (("suspect", "symptom"), inputs.companion_present),
        "link_symptom": (("link",), links.symptom),
        "link_suspect": (("link",), links.suspect),
        "link_mode": (("link",), links.mode),
        "reveal_check": (("reveal",), table.reveal_check),
        "reveal_suspect": (("reveal",), table.reveal_suspect),
        "remedy_check": (("remedy",), table.cure_check),
        "remedy_suspect": (("remedy",), table.cure_suspect),
    }


def layout_coords(inputs: ModelInputs) -> dict[str, Any]:
    """Coordinates of `Posterior.draws`, but for `term`."""
    links = inputs.links
    return {
        "symptom": list(links.symptoms),
        "suspect": list(links.suspects),
        "mode": list(links.modes),
        "family": list(inputs.families),
        "shop": np.array(inputs.shops, dtype=object),
        "age": list(inputs.ages),
        "check": list(inputs.checks.checks),
    }
