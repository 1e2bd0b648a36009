"""The Club page with another shop's bundle in the pool, on every screen."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from pipelines.bundle_writing import Wish, write_bundle
from pipelines.bundles import read_bundle
from pipelines.catalogue import read_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file
from pipelines.invented import demo_files
from pipelines.settings import Settings

pytestmark = pytest.mark.browser

TODAY = date(2026, 11, 25)
WIDTHS = {1280: 900, 768: 1000, 390: 844}


@pytest.fixture(scope="module")
def member(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """A workshop with its own tickets and the bundle of another one."""
    folder = tmp_path_factory.mktemp("club")
    shops = [Settings(folder / name) for name in ("giver", "member")]
    for settings, (path, shop, columns) in zip(shops, demo_files()[:2], strict=True):
        ingest_file(
            path,
            store_path=settings.store_path,
            vocabulary=read_vocabulary(settings.vocabulary_folder),
            shop=shop,
            column_map=read_column_map(columns),
            today=TODAY,
        )
    giver, member = shops
    write_bundle(giver, folder / "bundle.zip", shop=demo_files()[0][1], today=TODAY, wish=Wish())
    read_bundle(member, folder / "bundle.zip", mapping={})
    return member


def test_who_gave_what_is_told_on_every_screen(
    browser: Browser,
    member: Settings,
    serve_shop: Callable[[Settings], AbstractContextManager[str]],
    screenshots: Path,
    fits_and_is_named: Callable[[Page], None],
) -> None:
    with serve_shop(member) as address:
        for scheme in ("light", "dark"):
            context = browser.new_context(color_scheme="light" if scheme == "light" else "dark")
            page = context.new_page()
            page.goto(f"{address}/club")
            expect(page.get_by_role("heading", name="Who contributed how much?")).to_be_visible()
            expect(page.get_by_text("How to give and take")).to_be_visible()
            for width, height in WIDTHS.items():
                page.set_viewport_size({"width": width, "height": height})
                page.screenshot(path=screenshots / f"club-{scheme}-{width}.png", full_page=True)
                fits_and_is_named(page)
            context.close()
