"""`Hub`: the newest state of a watch, to every page that listens; a slow one misses what was between."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import AsyncGenerator, Mapping
from typing import Any

State = Mapping[str, Any]
"""As `qc.pages.follow.state.state_of` makes it."""


class Hub:
    """Holds one state and hands it out; it may be put from any thread, and listened to in any event loop."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._newest: State | None = None
        self._number = 0
        self._closed = False
        self._listeners: set[_Listener] = set()

    @property
    def listeners(self) -> int:
        """How many listen now."""
        return len(self._listeners)

    def put(self, state: State) -> None:
        """Have every listener told of a state, unless only an age has grown: a page counts those itself."""
        with self._lock:
            if self._newest is not None and _without_ages(state) == _without_ages(self._newest):
                return
            self._newest = state
            self._number += 1
            self._wake()

    def close(self) -> None:
        """End every listening, after the newest state."""
        with self._lock:
            self._closed = True
            self._wake()

    async def listen(self, *, pause_s: float | None = None) -> AsyncGenerator[State | None, None]:
        """Yield the newest state at once, and each time there is a newer one.

        Parameters
        ----------
        pause_s : float or None
            Seconds after which None is yielded where no state came; None for never.
        """
        listener = _Listener()
        with self._lock:
            self._listeners.add(listener)
        told = 0
        try:
            while True:
                listener.news.clear()
                with self._lock:
                    number, state, closed = self._number, self._newest, self._closed
                if number != told:
                    told = number
                    yield state
                elif closed:
                    return
                elif not await listener.hears(pause_s):
                    yield None
        finally:
            with self._lock:
                self._listeners.discard(listener)

    def _wake(self) -> None:
        for listener in self._listeners:
            listener.wake()


class _Listener:
    def __init__(self) -> None:
        self.news = asyncio.Event()
        self._loop = asyncio.get_running_loop()

    def wake(self) -> None:
        with contextlib.suppress(RuntimeError):  # a loop that ended without leaving its listeners tells nobody
            self._loop.call_soon_threadsafe(self.news.set)

    async def hears(self, pause_s: float | None) -> bool:
        try:
            await asyncio.wait_for(self.news.wait(), pause_s)
        except TimeoutError:
            return False
        return True


def _without_ages(state: State) -> State:
    heart = {key: value for key, value in state.get("heart", {}).items() if key != "age_s"}
    return {**state, "heart": heart}
