"""A real watch in progress, followed by a real browser."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from tests.watch.running import capture

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FRAMES = 5
PATIENCE_S = 60.0
LATEST_S = 1.0
"""Within which a verdict must be on the page after its JSON line: what the page promises, not how fast it is."""

OBSERVE = """() => {
  window.seen = {};
  const note = () => {
    const number = document.querySelector(".number").textContent;
    const word = document.querySelector(".verdict").textContent;
    if (word !== "first look") window.seen[number] ??= Date.now() / 1000;
  };
  new MutationObserver(note).observe(document.querySelector("header"), {
    subtree: true, childList: true, characterData: true,
  });
}"""


class Lines:
    """What a watch writes on stdout, with when each line came."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.link = ""
        self.told: dict[str, float] = {}
        self._threads = [threading.Thread(target=read) for read in (self._read_lines, self._read_link)]
        for thread in self._threads:
            thread.start()

    def close(self) -> None:
        """Let go of a process that has ended."""
        for thread, pipe in zip(self._threads, (self.process.stdout, self.process.stderr), strict=True):
            thread.join(PATIENCE_S)
            assert pipe is not None
            pipe.close()

    def _read_lines(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            said = json.loads(line)
            if said["schema"] == "qc.capture/1":
                self.told[said["file"]["name"].removeprefix("SB_").removesuffix(".dng")] = time.time()

    def _read_link(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            if line.startswith("page: "):
                self.link = line.split()[1]

    def until(self, happened: Callable[[], object], what: str) -> None:
        end = time.monotonic() + PATIENCE_S
        while not happened():
            assert time.monotonic() < end, what
            time.sleep(0.02)


@contextmanager
def watching(room: Path) -> Iterator[Lines]:
    env = {**os.environ, "XDG_STATE_HOME": str(room / "state"), "PYTHONUNBUFFERED": "1"}
    command = [sys.executable, "-m", "qc_cli.app", "watch", "bottles", "--json", "--page", "--no-open"]
    pipe = subprocess.PIPE
    process = subprocess.Popen(command, cwd=room, env=env, stdout=pipe, stderr=pipe, text=True)
    lines = Lines(process)
    try:
        lines.until(lambda: lines.link, "a link")
        yield lines
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(PATIENCE_S)
        lines.close()


def test_each_verdict_is_on_the_page_within_a_second_of_its_line_also_after_a_kill(
    tmp_path: Path, browser: Browser
) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    context = browser.new_context()
    page = context.new_page()
    with watching(tmp_path) as lines:
        page.goto(lines.link)
        page.locator("header .verdict", has_text="no frame yet").wait_for()
        page.evaluate(OBSERVE)
        for number in range(1, FRAMES + 1):
            name = f"{number:04d}"
            (folder / f"SB_{name}.dng").write_bytes(capture(number))
            page.wait_for_function("name => window.seen[name]", arg=name)
        lines.until(lambda: len(lines.told) == FRAMES, "a line of each")
        seen = page.evaluate("() => window.seen")
        late = {name: seen[name] - at for name, at in lines.told.items()}
        assert max(late.values()) < LATEST_S, late
        link = lines.link
        lines.process.kill()
        lines.process.wait(PATIENCE_S)
    page.get_by_text("not connected to the watch").first.wait_for()
    with watching(tmp_path) as lines:
        assert lines.link == link
        (folder / "SB_0006.dng").write_bytes(capture(6))
        page.wait_for_function("() => window.seen['0006']")  # nobody touched the page
    context.close()
