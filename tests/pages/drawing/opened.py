"""The page of drawing on a rehearsed capture, served as `qc sheet draw` serves it and open in a browser."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from qc.pages.drawing.app import application
from qc.pages.drawing.place import place
from qc.pages.drawing.session import Session
from qc.pages.serve import Served
from qc.rehearse.studio import Studio
from qc.sheet.zones import Zone
from tests.pages.asking import KEY, Asker, served

if TYPE_CHECKING:
    from playwright.sync_api import Page

SIZE = (300, 400)
"""Rows and columns of the upright picture."""

Place = tuple[float, float]

WIDTH, HEIGHT = 200, 150
"""Its preview: one pixel a cell."""

BOX: tuple[Place, Place] = ((61, 37), (122, 98))
POLYGON: tuple[Place, ...] = ((20, 30), (75, 22), (90, 80), (55, 64), (14, 110))
"""What is drawn, in preview pixels; the polygon has a notch."""

ORIENTATIONS = (1, 6, 8)
"""Exif: the camera upright, and turned to either side."""


@dataclass
class Drawing:
    """A page that is served; it can be ended and begun again at the same link."""

    capture: Path
    sheet: Path

    def __post_init__(self) -> None:
        self.ended = threading.Event()

    @contextmanager
    def served(self, port: int = 0) -> Iterator[Served]:
        lies = place(str(self.capture), sheet=self.sheet)
        session = Session(lies.capture, lies.target)
        try:
            with served(application(session, self.ended.set), port=port) as (page, faults):
                yield page
            assert faults == []
        finally:
            session.close()


def shot(folder: Path, orientation: int = 1, size: tuple[int, int] = SIZE) -> Path:
    """A rehearsed capture whose upright picture is the same whatever way it lies on the sensor."""
    folder.mkdir(exist_ok=True)
    path = folder / f"R_{orientation:04d}.dng"
    Studio(size=size, orientation=orientation).frame(heads={"key": 1.0, "spot": 1.0}).write(path)
    return path


@dataclass
class Hand:
    """Works with the page as a person does; places are in preview pixels."""

    page: Page

    def at(self, place: Place) -> Place:
        """Where on the screen a place of the picture is."""
        across, down = self.page.evaluate(
            "([x, y]) => { const at = new DOMPoint(x, y).matrixTransform(picture.getScreenCTM());"
            " return [at.x, at.y]; }",
            list(place),
        )
        return across, down

    def drag(self, one: Place, other: Place) -> None:
        middle = ((one[0] + other[0]) / 2, (one[1] + other[1]) / 2)
        first, *more = [self.at(place) for place in (one, middle, other)]
        self.page.mouse.move(*first)
        self.page.mouse.down()
        for onward in more:
            self.page.mouse.move(*onward)
        self.page.mouse.up()
        self.settle()

    def click(self, place: Place) -> None:
        self.page.mouse.click(*self.at(place))
        self.settle()

    def press(self, *keys: str) -> None:
        """Press keys as fast as they come, and look at the page after the last."""
        for key in keys:
            self.page.keyboard.press(key)
        self.settle()

    def name(self, name: str) -> None:
        """Name the zone in hand."""
        self.press("e")
        self.page.keyboard.type(name)
        self.press("Enter")

    def said(self, text: str) -> None:
        self.page.locator("#said", has_text=text).wait_for()

    def settle(self) -> None:
        """Wait until what was done is drawn."""
        self.page.evaluate("() => new Promise(drawn => requestAnimationFrame(() => requestAnimationFrame(drawn)))")

    def zones(self) -> list[str]:
        """Names as they stand on the picture."""
        self.settle()
        return self.page.locator("#zones .called").all_text_contents()

    def save(self) -> None:
        self.press("Control+s")
        self.page.locator("#state:not(.unsaved)").wait_for()
        self.said("saved in")


def link(page: Served | Asker) -> str:
    return f"http://127.0.0.1:{page.port}/?key={KEY}"


def corners(zone: Zone) -> NDArray[np.float64]:
    """Corners of a zone in preview pixels."""
    return np.array(zone.points) * (WIDTH, HEIGHT)
