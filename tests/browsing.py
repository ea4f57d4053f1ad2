"""A real browser for tests of pages; one for a whole run, since only one may be driven at a time."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium, without a window; tests that need it skip with the reason where it is absent."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    found = next((path for name in CHROMIUM if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no chromium is installed")
    with api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()
