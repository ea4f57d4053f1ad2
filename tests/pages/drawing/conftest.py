"""The page of drawing in a browser that lets nothing pass that a person would stumble over."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.pages.asking import Asker
from tests.pages.drawing.opened import Drawing, Hand, link, shot

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from qc.pages.serve import Served

WINDOW = (1280, 800)
WAIT_MS = 30_000

Drawn = Callable[..., Hand]


@pytest.fixture(scope="session")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Callable[[int], Path]:
    """The rehearsed capture in an orientation; made once."""
    folder = tmp_path_factory.mktemp("shots")
    made: dict[int, Path] = {}

    def capture(orientation: int) -> Path:
        if orientation not in made:
            made[orientation] = shot(folder / f"bottles{orientation}", orientation)
        return made[orientation]

    return capture


@pytest.fixture
def complaints() -> list[str]:
    """What the browser complained of; a test takes out what it provoked."""
    return []


@pytest.fixture
def open_page(browser: Browser, complaints: list[str]) -> Iterator[Callable[[Served], Hand]]:
    """Open a served page; at the end it has complained of nothing and asked nobody else."""
    asked: list[str] = []
    ports: set[int] = set()
    context = browser.new_context(viewport={"width": WINDOW[0], "height": WINDOW[1]})
    context.set_default_timeout(WAIT_MS)

    def opened(served: Served | Asker, place: str = "") -> Hand:
        page = context.new_page()
        page.on("console", lambda message: complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        ports.add(served.port)
        page.goto(place or link(served))
        return begun(page)

    yield opened
    context.close()
    assert complaints == []
    assert all(any(url.startswith(f"http://127.0.0.1:{port}/") for port in ports) for url in asked)


def begun(page: Page) -> Hand:
    page.locator("#state:not(:empty)").wait_for()
    return Hand(page)


@pytest.fixture
def draw(shots: Callable[[int], Path], open_page: Callable[[Served], Hand], tmp_path: Path) -> Iterator[Drawn]:
    """Open the page for a capture and ``tmp_path/bottles.set.toml``."""
    with ExitStack() as stack:

        def opened(orientation: int = 1) -> Hand:
            drawing = Drawing(shots(orientation), tmp_path / "bottles.set.toml")
            hand = open_page(stack.enter_context(drawing.served()))
            stack.callback(hand.page.close)  # before its server ends
            return hand

        yield opened
