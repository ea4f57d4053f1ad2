"""The page of a scripted watch in a real browser; at the end it has complained of nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest

from qc.pages.serve import Served
from tests.pages.follow.scripted import Script

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

Open = Callable[..., "Page"]

SCREEN = (2560, 1440)
"""Pixels of a full window on a 27-inch screen of 16:9."""


@pytest.fixture
def script() -> Script:
    return Script()


@pytest.fixture
def watch(script: Script) -> Iterator[Served]:
    with script.served() as one:
        yield one


@pytest.fixture
def complaints() -> list[str]:
    """What a page complained of; a test that cuts the line takes out what it brought about itself."""
    return []


@pytest.fixture
def open_page(browser: Browser, complaints: list[str]) -> Iterator[Open]:
    """Open the page that a server shows; all it loads comes from there."""
    contexts = []
    asked: list[str] = []
    leaving: list[bool] = []

    def say(words: str) -> None:
        if not leaving:
            complaints.append(words)

    def opened(link: str, size: tuple[int, int] = SCREEN, *, fake_clock: bool = False, before: str = "") -> Page:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        contexts.append(context)
        context.set_default_timeout(30_000)
        page = context.new_page()
        page.on("console", lambda message: say(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: say(str(error)))
        page.on("dialog", lambda dialog: say(f"dialog: {dialog.message}"))
        page.on("request", lambda request: asked.append(request.url))
        if fake_clock:
            page.clock.install()
        if before:
            page.add_init_script(before)
        page.goto(link)
        home = link.partition("?")[0]
        assert [url for url in asked if not url.startswith(home)] == []
        return page

    yield opened
    leaving.append(True)
    for context in contexts:
        context.close()
    assert complaints == []


def shows(page: Page, where: str, words: Any) -> bool:
    """Tell that a place of the page shows these words, and no others, as soon as it does; else fail, with both."""
    from playwright.sync_api import expect

    expect(page.locator(where)).to_have_text(words)
    return True


def shows_no(page: Page, where: str) -> bool:
    """Tell that a place of the page is not to be seen, as soon as it is not; else fail."""
    from playwright.sync_api import expect

    expect(page.locator(where)).to_be_hidden()
    return True


def pictured(page: Page, key: str) -> None:
    """Wait until the picture of a capture is shown, and no other."""
    from playwright.sync_api import expect

    seen = page.locator("figure:not([hidden]) .picture")
    expect(seen).to_have_count(1)
    expect(seen).to_have_attribute("src", f"/picture/{key}.jpg")
