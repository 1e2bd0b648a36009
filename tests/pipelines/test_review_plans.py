"""Plans that several figures ask for are solved once, and never for a vocabulary or a fit that is gone."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from analytics.case import Case
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.posteriors import FitRow, save_posterior
from pipelines.review_plans import newest_planner
from pipelines.settings import Settings

CASE = Case("stuck")


def save(settings: Settings, posterior: Posterior, fit_id: str, day: int) -> None:
    row = FitRow(fit_id, datetime(2026, 11, day, tzinfo=UTC), "", "", "", seconds=0.0, last_order=0)
    save_posterior(settings, replace(posterior, fit_id=fit_id), row)


@pytest.fixture
def settings(tmp_path_factory: pytest.TempPathFactory, tiny_posterior: Posterior) -> Settings:
    settings = Settings(tmp_path_factory.mktemp("shop"))
    save(settings, tiny_posterior, "first", 1)
    return settings


def test_a_plan_is_solved_once_and_anew_once_the_vocabulary_is_another(
    settings: Settings, tiny_vocabulary: Vocabulary
) -> None:
    posterior, plan_of = newest_planner(settings)
    plan = plan_of(posterior, CASE, tiny_vocabulary)
    again, other_plan_of = newest_planner(settings)
    assert again is posterior
    assert other_plan_of(again, CASE, replace(tiny_vocabulary)) is plan
    slow = {code: replace(check, minutes=9 * check.minutes) for code, check in tiny_vocabulary.checks.items()}
    assert plan_of(posterior, CASE, replace(tiny_vocabulary, checks=slow)) is not plan


def test_a_newer_fit_is_planned_with(settings: Settings, tiny_posterior: Posterior) -> None:
    assert newest_planner(settings)[0].fit_id == "first"
    save(settings, tiny_posterior, "second", 2)
    assert newest_planner(settings)[0].fit_id == "second"
