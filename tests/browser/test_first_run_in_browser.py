"""Somebody who has just installed it: from nothing to a first answer without a terminal, and back to an empty store."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from pipelines.settings import Settings

pytestmark = [pytest.mark.browser, pytest.mark.slow]

FIT_MS = 400_000


def test_from_nothing_to_the_first_answer_and_back(
    browser: Browser,
    tmp_path: Path,
    serve_shop: Callable[[Settings], AbstractContextManager[str]],
    screenshots: Path,
) -> None:
    with serve_shop(Settings(tmp_path)) as address:
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        errors: list[str] = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(address)
        expect(page.get_by_text("1. Bring your tickets.")).to_be_visible()
        for width in (390, 768, 1280):
            page.set_viewport_size({"width": width, "height": 900})
            page.screenshot(path=screenshots / f"first-run-1-{width}.png", full_page=True)
        page.get_by_role("button", name="Read in my own file").click()
        expect(page.get_by_role("radio", name="Read in")).to_be_checked()
        page.goto(address)
        page.get_by_role("button", name="Look around with invented tickets").click()
        expect(page.get_by_text("Done: 5,")).to_be_visible()
        expect(page.get_by_text("of 100 done")).to_be_visible()
        page.screenshot(path=screenshots / "first-run-2-learning.png", full_page=True)
        # the answer comes up by itself
        expect(page.get_by_text("Everything here is for looking around")).to_be_visible(timeout=FIT_MS)
        page.get_by_label("What it does wrong").click()
        page.get_by_role("option").first.click()
        expect(page.get_by_text("All of them in words")).to_be_visible()
        page.screenshot(path=screenshots / "first-run-3-answer.png", full_page=True)
        page.get_by_role("button", name="Take them out and begin with my own").click()
        expect(page.get_by_text("The store is empty and waits for your own")).to_be_visible()
        page.screenshot(path=screenshots / "first-run-4-out.png", full_page=True)
        assert not Settings(tmp_path).store_path.exists()
        assert errors == []
        page.close()
