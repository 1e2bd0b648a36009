"""A shop's data folder with the tiny vocabulary and a fit, ready for the bench."""

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import write_vocabulary
from pipelines.posteriors import FitRow, save_posterior
from pipelines.settings import Settings


@pytest.fixture
def bench_settings(tmp_path: Path, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> Settings:
    settings = Settings(tmp_path / "data")
    write_vocabulary(tiny_vocabulary, settings.data_folder / "vocabulary")
    row = FitRow("first", datetime(2024, 1, 1), "x", "x", "0", seconds=1.0, last_order=0)  # noqa: DTZ001 - UTC
    save_posterior(settings, replace(tiny_posterior, fit_id="first"), row)
    return settings
