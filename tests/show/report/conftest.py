"""A page in a real browser that lets nothing pass that a reader would stumble over."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote_to_bytes, urlsplit

import pytest

from qc.reading import Level
from tests.show.report.made import burnt, captured, reported, soft, truncated

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

Open = Callable[..., "Page"]


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Open]:
    """Open a page; at the end it has complained of nothing and asked for nothing outside its folder."""
    said: list[str] = []
    asked: list[str] = []
    folders: list[Path] = []
    leaving: list[bool] = []  # what is still being loaded then fails, and is nobody's fault
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    context.set_default_timeout(30_000)

    def say(text: str) -> None:
        if not leaving:
            said.append(text)

    def opened(index: Path, place: str = "", *, plots: bool = False) -> Page:
        folders.append(index.parent)
        page = context.new_page()
        page.on("console", lambda message: say(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: say(str(error)))
        page.on("requestfailed", lambda request: say(f"failed: {request.url} {request.failure}"))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(index.as_uri() + place)
        page.wait_for_selector(".main-svg" if plots else "main")
        return page

    yield opened
    leaving.append(True)
    context.close()
    assert said == []
    assert asked
    assert [url for url in asked if not _inside(url, folders)] == []


def _inside(url: str, folders: list[Path]) -> bool:
    parts = urlsplit(url)
    place = Path(unquote_to_bytes(parts.path).decode("utf-8", "surrogateescape"))
    return parts.scheme == "data" or (parts.scheme == "file" and any(f in place.parents for f in folders))


@pytest.fixture(scope="session")
def index(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a day with a little of everything, copied alone to where nothing else is."""
    folder = tmp_path_factory.mktemp("day")
    captures = [captured(number) for number in range(1, 9)]
    captures[2] = captured(3, causes=[burnt(0.4), soft(2.0)], area=0.4, blur=2.0)
    captures[4] = captured(5, causes=[soft(1.8)], blur=1.8)
    captures[5] = captured(6, causes=[burnt(0.02, Level.NOTE)], area=0.02, headroom=None)
    captures[6] = truncated(7)
    page = reported(folder / "bottles.qc", captures)
    alone = folder / "elsewhere"
    shutil.copytree(page.parent, alone)
    shutil.rmtree(folder / "bottles.qc")
    return alone / page.name
