"""`Hints`: a thread that listens to the file system's notices, and a pipe that wakes whoever waits.

A notice is reduced to one bit: look again. What cannot be listened to is a trouble in words, never an end: the
thread tries again for as long as the watch runs.
"""

from __future__ import annotations

import contextlib
import errno
import os
import threading
import time
from multiprocessing import Pipe

from qc.errors import printable

DEBOUNCE_MS = 50
STEP_MS = 25
"""Notices are gathered until none came for one step, at most for the first: a hint is there within 50 ms."""

CHECK_MS = 500
"""How often the listener looks whether the folder is still the one that it listens to; and how long after it began
to listen it asks for a scan at the latest, since what came while it began was not announced."""

FIRST_WAIT_S = 0.1
LONGEST_WAIT_S = 5.0
"""Between attempts to listen, doubling while they fail."""

MISSES = 3
"""Scans in a row that found what no notice told of, after which the notices are called unreliable. Our own choice:
one is nothing, since a notice may come just after the scan."""


class Hints:
    """Notices about one folder.

    Parameters
    ----------
    folder : str
        The folder; it may be absent.

    Attributes
    ----------
    wakeup : multiprocessing.connection.Connection
        Readable while there is a hint: for `multiprocessing.connection.wait`.
    listening : bool
        Whether notices come at the moment, as far as is known.
    """

    def __init__(self, folder: str) -> None:
        self.listening = False
        self.wakeup, self._bell = Pipe(duplex=False)
        self._folder = folder
        self._lock = threading.Lock()
        self._pending = False
        self._troubles: list[str] = []
        self._misses = 0
        self._lenient = False
        """Whether folders inside that may not be read are passed over. Not from the start: the watcher then says
        nothing of inotify's limit either, and hears nothing (watchfiles 1.3)."""
        self._stop = threading.Event()
        self._again = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def pending(self) -> bool:
        """Whether there was a notice since the last `take`."""
        return self._pending

    def start(self) -> None:
        """Begin to listen."""
        self._thread = threading.Thread(target=self._run, name="qc hints", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop listening; returns when the thread has ended."""
        self._stop.set()
        self._again.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def take(self) -> bool:
        """Return whether there was a notice, and forget it."""
        with self._lock:
            hinted, self._pending = self._pending, False
            while self.wakeup.poll():
                self.wakeup.recv_bytes()
        return hinted

    def compare(self, *, hinted: bool, news: bool) -> None:
        """Note whether a scan that was hinted at, or not, found anything; listen anew when a notice was missed."""
        if hinted:
            self._misses = 0
        elif news and self.listening:
            self._misses += 1
            self._again.set()
            if self._misses == MISSES:
                self._trouble("changes in it are not announced")

    def troubles(self) -> list[str]:
        """Return why notices do not come, in words, and forget it."""
        with self._lock:
            troubles, self._troubles = self._troubles, []
        return troubles

    # -- in the thread

    def _run(self) -> None:
        wait = FIRST_WAIT_S
        while not self._stop.is_set():
            began = time.monotonic()
            failed = _identity(self._folder) is not None and not self._listen_once()
            lasted = time.monotonic() - began > LONGEST_WAIT_S
            wait = min(wait * 2, LONGEST_WAIT_S) if failed and not lasted else FIRST_WAIT_S
            self._stop.wait(wait)

    def _listen_once(self) -> bool:
        """Listen until there is a reason to begin anew; False when that is a failure."""
        self._ring()
        try:
            self._listen()
        except FileNotFoundError:  # it went away just now: the scan says so
            return True
        except PermissionError:  # the scan says which folder; what can be listened to is
            if self._lenient:  # the folder itself may not be read: try again later
                return False
            self._lenient = True
        except Exception as error:  # noqa: BLE001 - whatever a watcher raises is said, and scans go on
            self._trouble(in_words(error))
            return False
        finally:
            self.listening = False
            self._ring()
        return True

    def _listen(self) -> None:
        """Listen until told to stop or begin anew, or until the folder is not the same any more."""
        from watchfiles import watch

        self._again.clear()
        if self._stop.is_set():  # told to stop before it began: that must not be forgotten
            return
        armed = _identity(self._folder)
        notices = watch(
            self._folder,
            watch_filter=None,
            debounce=DEBOUNCE_MS,
            step=STEP_MS,
            rust_timeout=CHECK_MS,
            yield_on_timeout=True,
            stop_event=self._again,
            raise_interrupt=False,
            force_polling=False,
            recursive=True,
            ignore_permission_denied=self._lenient,
        )
        with contextlib.closing(notices):
            self.listening = first = True
            for changes in notices:
                if changes or first:
                    self._ring()
                first = False
                if any(path == self._folder for _, path in changes) or _identity(self._folder) != armed:
                    return

    def _ring(self) -> None:
        with self._lock:
            if not self._pending:
                self._pending = True
                self._bell.send_bytes(b"!")

    def _trouble(self, words: str) -> None:
        with self._lock:
            self._troubles.append(words)


def in_words(error: Exception) -> str:
    """Say for people why a watcher failed."""
    text = str(error)
    code = getattr(error, "errno", None)
    if code == errno.ENOSPC or "os error 28" in text or "watch limit" in text:
        return "it holds more folders than this system may listen to at once (inotify's limit, no lack of disk)"
    if code == errno.EMFILE or "os error 24" in text:
        return "too many programs on this system listen to folders already (inotify's limit)"
    if isinstance(error, UnicodeError) or "decode path" in text:
        return "a name in it is not UTF-8, which the system's notices cannot carry"
    return f"its changes cannot be listened to ({type(error).__name__}: {printable(text)})"


def _identity(folder: str) -> tuple[int, int] | None:
    try:
        facts = os.stat(folder)  # noqa: PTH116 - a plain path, as everywhere in this file
    except OSError:
        return None
    return facts.st_dev, facts.st_ino
