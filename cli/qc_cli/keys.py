"""Keys pressed at a terminal, read by a thread; the terminal is left as it was in every way out."""

from __future__ import annotations

import contextlib
import os
import queue
import select
import sys
import threading
from collections.abc import Callable, Iterator

ESCAPE = "\x1b"


def can_read_keys() -> bool:
    """Tell whether a person at a terminal can press keys here."""
    if sys.stdin is None or not sys.stdin.isatty() or os.name != "posix":
        return False
    with contextlib.suppress(OSError):  # a terminal that does not control this process asks nothing of it
        # in the background, changing the terminal's modes would stop the whole watch
        return os.tcgetpgrp(sys.stdin.fileno()) == os.getpgrp()
    return True


@contextlib.contextmanager
def reading_keys(wake: Callable[[], None]) -> Iterator[queue.SimpleQueue[str]]:
    """Read keys one by one, without Enter and unseen, until the block is left.

    Parameters
    ----------
    wake : callable
        Called from the reading thread when keys have come.

    Yields
    ------
    queue of str
        The keys; it stays empty where stdin is no terminal or has no such modes.
    """
    keys: queue.SimpleQueue[str] = queue.SimpleQueue()
    with contextlib.ExitStack() as stack:
        if can_read_keys():
            fd = sys.stdin.fileno()
            stack.enter_context(_single_keys(fd))
            stack.enter_context(_reader(fd, keys, wake))
        yield keys


@contextlib.contextmanager
def _single_keys(fd: int) -> Iterator[None]:
    """Set a terminal to hand over each key as it is pressed; Ctrl-C stays a signal.

    Ctrl-Z and Ctrl-S are switched off: pressed by accident they would stop the watch, and nothing would say so.
    """
    import termios

    before = termios.tcgetattr(fd)
    now = termios.tcgetattr(fd)
    now[0] &= ~termios.IXON
    now[3] &= ~(termios.ICANON | termios.ECHO)
    off = os.fpathconf(fd, "PC_VDISABLE")
    now[6][termios.VSUSP] = bytes([off])
    now[6][termios.VMIN], now[6][termios.VTIME] = 1, 0
    termios.tcsetattr(fd, termios.TCSADRAIN, now)
    try:
        yield
    finally:
        with contextlib.suppress(termios.error):  # the terminal has gone away: there is nothing to put right
            termios.tcsetattr(fd, termios.TCSAFLUSH, before)


@contextlib.contextmanager
def _reader(fd: int, keys: queue.SimpleQueue[str], wake: Callable[[], None]) -> Iterator[None]:
    ended, end = os.pipe()
    thread = threading.Thread(target=_read, args=(fd, ended, keys, wake), name="keys", daemon=True)
    thread.start()
    try:
        yield
    finally:
        os.write(end, b"!")
        thread.join()
        os.close(end)
        os.close(ended)


def _read(fd: int, ended: int, keys: queue.SimpleQueue[str], wake: Callable[[], None]) -> None:
    while True:
        ready, _, _ = select.select([fd, ended], [], [])
        if ended in ready:
            return
        try:
            pressed = os.read(fd, 256).decode("utf-8", "replace")
        except OSError:  # the terminal has gone away
            return
        if not pressed:
            return
        for key in keys_of(pressed):
            keys.put(key)
        wake()


def keys_of(pressed: str) -> str:
    """Return the keys in what a terminal handed over at once; an arrow or function key is none of its signs."""
    if pressed.startswith(ESCAPE) and len(pressed) > 1:
        return ""
    return pressed
