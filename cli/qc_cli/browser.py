"""Opens a link in a person's browser, where there is a screen for one."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import webbrowser
from collections.abc import Mapping

SCREENS = ("DISPLAY", "WAYLAND_DISPLAY")
"""What says that there is a graphical screen, on systems where it need not be so."""


def can_open(environment: Mapping[str, str] = os.environ, system: str = sys.platform) -> bool:
    """Tell whether a browser would open in a window of its own: one in the terminal would take that over."""
    if system in ("darwin", "win32"):
        return True
    if not any(environment.get(name) for name in SCREENS):
        return False
    try:
        found = webbrowser.get()
    except webbrowser.Error:
        return False
    return type(found) is not webbrowser.GenericBrowser  # of that kind are those that run in a terminal


def open_link(link: str) -> None:
    """Open a link; returns at once, and nothing that a browser writes reaches the terminal."""
    # a process of its own, since some browsers are waited for
    command = [sys.executable, "-m", "webbrowser", link]
    nothing = subprocess.DEVNULL
    threading.Thread(
        target=subprocess.run,
        args=(command,),
        kwargs={"stdin": nothing, "stdout": nothing, "stderr": nothing, "check": False},
        name="browser",
        daemon=True,
    ).start()
