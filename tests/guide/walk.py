"""The README's guide as somebody walks it: the same commands, the same pages, frames of the rehearsed set.

    python -m tests.guide.walk

walks it at the size of the guide's pictures and writes these into ``testdata/guide``. `test_guide.py` walks it.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from qc.rehearse.studio import Studio
from tests.pages.drawing.opened import Hand

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PICTURES = Path(__file__).parents[2] / "testdata" / "guide"
PATIENCE_S = 60.0
WINDOW = (1280, 800)

ZONES = {"label": "protect", "seal": "sharp", "rim": "allow"}
"""The three zones of the guide by name and role, and which places of the rehearsed set they are."""
PLACES = {"label": "label", "seal": "seal", "rim": "shoulder and rim"}
BUDGET = "0.6"

Look = Callable[[str, "Page"], None]


@dataclass
class Walk:
    """One technician with a folder, a browser, and the time to look."""

    room: Path
    browser: Browser
    columns: int
    look: Look = lambda _name, _page: None

    def __post_init__(self) -> None:
        self.folder = self.room / "in" / "bottles"
        self.folder.mkdir(parents=True)
        self.env = {**os.environ, "XDG_STATE_HOME": str(self.room / "state"), "PYTHONUNBUFFERED": "1"}

    def press(self, *how: str) -> None:
        """Press the shutter."""
        self._python("qc.rehearse.press", "in/bottles", "--columns", str(self.columns), *how)

    def qc(self, *words: str) -> str:
        """Run a command to its end."""
        done = subprocess.run(
            [sys.executable, "-m", "qc_cli.app", *words],
            cwd=self.room, env=self.env, capture_output=True, text=True, timeout=PATIENCE_S, check=False,
        )  # fmt: skip
        return done.stdout + done.stderr

    @contextmanager
    def watching(self) -> Iterator[Page]:
        """Start ``qc watch in/bottles --page`` and open its page."""
        with self._command("watch", "in/bottles", "--page", "--no-open") as link, self._opened(link) as page:
            yield page

    @contextmanager
    def drawing(self) -> Iterator[Hand]:
        """Start ``qc sheet draw`` and open its page."""
        with self._command("sheet", "draw", "--no-open") as link, self._opened(link) as page:
            page.locator("#state:not(:empty)").wait_for()
            yield Hand(page)

    def draw_three_zones(self, hand: Hand) -> None:
        """Draw the guide's zones where the places are on the rehearsed set."""
        size = hand.page.evaluate("() => [picture.viewBox.baseVal.width, picture.viewBox.baseVal.height]")
        studio = Studio(size=(self.columns * 2 // 3, self.columns))
        for name, role in ZONES.items():
            (left, top), _, (right, bottom), _ = studio.zone(PLACES[name]).points
            hand.press("d")
            hand.drag((left * size[0], top * size[1]), (right * size[0], bottom * size[1]))
            hand.page.locator("#role").select_option(role)
            if role == "allow":
                hand.page.locator("#budget").fill(BUDGET)
            hand.page.locator("#name").fill(name)
            hand.press("Enter")
        hand.page.wait_for_function("() => !document.querySelector('#lines').textContent.includes('being read')")
        hand.page.get_by_text(re.compile("found places: [1-9]")).wait_for()

    def shows(self, page: Page, word: str, *, number: str) -> None:
        """Wait until the page shows a frame with the word of its verdict."""
        page.wait_for_function(
            "([word, number]) => document.querySelector('.number').textContent === number"
            " && document.querySelector('.verdict').textContent === word",
            arg=[word, number],
        )

    @contextmanager
    def _command(self, *words: str) -> Iterator[str]:
        """Run a command that serves a page; yields the page's link."""
        said = self.room / f"{words[0]}.said"
        with said.open("w") as file:
            process = subprocess.Popen(
                [sys.executable, "-m", "qc_cli.app", *words], cwd=self.room, env=self.env, stdout=file, stderr=file
            )
        try:
            yield self._link(said, process)
        finally:
            process.terminate()
            process.wait(PATIENCE_S)

    def _link(self, said: Path, process: subprocess.Popen[bytes]) -> str:
        end = time.monotonic() + PATIENCE_S
        while (found := re.search(r"http://\S+", said.read_text())) is None:
            assert process.poll() is None, said.read_text()
            assert time.monotonic() < end, said.read_text()
            time.sleep(0.05)
        return found[0]

    @contextmanager
    def _opened(self, link: str) -> Iterator[Page]:
        context = self.browser.new_context(viewport={"width": WINDOW[0], "height": WINDOW[1]})
        context.set_default_timeout(PATIENCE_S * 1000)
        page = context.new_page()
        page.goto(link)
        try:
            yield page
        finally:
            context.close()

    def _python(self, module: str, *words: str) -> None:
        subprocess.run([sys.executable, "-m", module, *words], cwd=self.room, env=self.env, check=True)


def walk(walker: Walk) -> None:
    """Follow the guide from the first command to a sheet with three zones and a passed ambient test."""
    with walker.watching() as page:
        walker.press()
        walker.shows(page, "unjudged", number="0001")
        walker.look("first-frame", page)
        with walker.drawing() as hand:
            walker.draw_three_zones(hand)
            walker.look("zones", hand.page)
            hand.save()
        walker.press()
        walker.shows(page, "clear", number="0002")
        walker.look("clear", page)
        walker.press("--trigger-off")
        walker.shows(page, "warn", number="0003")
        page.get_by_text("answer one alarm").click()
        page.locator(".question").wait_for()
        walker.look("question", page)
        page.keyboard.press("2")
        walker.shows(page, "clear", number="0003")
        walker.look("ambient", page)
        walker.press("--spot")
        walker.shows(page, "halt", number="0004")
        walker.look("halt", page)


def main() -> None:
    """Make the guide's pictures."""
    import shutil

    from PIL import Image
    from playwright.sync_api import sync_playwright

    from tests.browsing import CHROMIUM

    PICTURES.mkdir(parents=True, exist_ok=True)

    def look(name: str, page: Page) -> None:
        page.wait_for_timeout(1500)  # the picture is there, and a person has looked
        target = PICTURES / f"{name}.png"
        page.screenshot(path=target)
        Image.open(target).convert("RGB").quantize(256).save(target, optimize=True)
        sys.stdout.write(f"{target}\n")

    found = next(path for name in CHROMIUM if (path := shutil.which(name)))
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as room:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        walk(Walk(Path(room), browser, columns=1500, look=look))
        browser.close()


if __name__ == "__main__":
    main()
