"""What a fit promises to its readers: draws by name and dims, and how far they can be trusted."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import xarray as xr

from analytics.complaint import TextModel

# Limits for publishing. R-hat: Vehtari et al., Bayesian Analysis 16 (2021); ESS: the same, 100 a chain.
MAX_RHAT = 1.01
MIN_ESS = 400.0
MAX_DIVERGENCES = 0


@dataclass(frozen=True)
class Diagnostics:
    """Worst figures over everything the model learnt, and where they were met."""

    max_rhat: float
    min_ess: float
    divergence_count: int
    worst: str

    @property
    def is_publishable(self) -> bool:
        """Whether all limits hold."""
        return self.max_rhat <= MAX_RHAT and self.min_ess >= MIN_ESS and self.divergence_count <= MAX_DIVERGENCES

    def sentence(self) -> str:
        """One line for a person."""
        verdict = "The fit holds" if self.is_publishable else "The fit does not hold and is not published"
        return (
            f"{verdict}: R-hat at most {self.max_rhat:.3f} (limit {MAX_RHAT}), at least {self.min_ess:.0f} effective "
            f"draws (limit {MIN_ESS:.0f}), {self.divergence_count} divergences (limit {MAX_DIVERGENCES}); "
            f"worst: {self.worst}."
        )


@dataclass(frozen=True)
class Posterior:
    """Thinned draws of one fit.

    `draws` holds, with `draw` first: alpha (link), beta (family, suspect), gamma (shop, mode), age_effect (link, age)
    in log odds; new_family (suspect), new_shop (mode) for one that no ticket has named; detection (reveal), cure
    (remedy), false_alarm (check) probabilities; log_minutes (check); spread (term); coefficient_value
    (coefficient), parent_unit (parent), for the next fit to begin with. Without
    `draw`: age_share (family, age), companion_present (suspect, symptom), and by link / reveal / remedy the positions
    link_symptom, link_suspect, link_mode, reveal_check, reveal_suspect, remedy_check, remedy_suspect, remedy_kind.
    `text` is what the owners' words of the same tickets told beside them, if that was learnt.
    """

    fit_id: str
    draws: xr.Dataset
    diagnostics: Diagnostics
    ticket_count: int
    text: TextModel | None = None

    @cached_property
    def draw_count(self) -> int:
        """Number of stored draws."""
        return self.draws.sizes["draw"]

    @cached_property
    def positions(self) -> dict[str, dict[str, int]]:
        """Dim -> code -> position, for dims whose coordinate is a vocabulary code."""
        named = ("symptom", "suspect", "family", "shop", "mode", "age", "check")
        return {dim: {str(code): at for at, code in enumerate(self.draws[dim].values)} for dim in named}

    @cached_property
    def links_by_symptom(self) -> tuple[np.ndarray, ...]:
        """Positions of the links of each symptom."""
        symptom = self.draws["link_symptom"].values
        return tuple(np.flatnonzero(symptom == at) for at in range(self.draws.sizes["symptom"]))

    @cached_property
    def arrays(self) -> dict[str, np.ndarray]:
        """Plain arrays of all variables: label look-ups would cost more than the arithmetic they serve."""
        return {str(name): values.values for name, values in self.draws.data_vars.items()}
