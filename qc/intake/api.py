"""The watch for programs: `qc.watch` and `qc.awatch` yield each capture's result, once."""

from __future__ import annotations

import asyncio
import os
import signal
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING

from qc.intake.updates import Judged, Update
from qc.intake.watch import Watch
from qc.result import Result

if TYPE_CHECKING:
    from qc.decode import MosaicHint

AnyPath = str | os.PathLike[str]


def watch(
    folder: AnyPath,
    *,
    sheet: AnyPath | None = None,
    preset: str | None = None,
    out: AnyPath | None = None,
    poll_s: float | None = None,
    test: bool = False,
    decoder: str = "auto",
    mosaic: MosaicHint | None = None,
    on_update: Callable[[Update], object] | None = None,
) -> Iterator[Result]:
    """Yield the result of each capture in a folder and of each that arrives, for as long as it is iterated.

    Captures that an earlier watch of the folder logged are not measured again. Leaving the loop ends the watch
    at once; what was being measured then is measured by the next one. In the main thread, Ctrl-C and SIGTERM end
    the loop in order: running captures are finished, logged and still yielded.

    Parameters
    ----------
    folder, sheet, preset, out, poll_s, test, decoder, mosaic
        As for `qc.intake.watch.Watch`.
    on_update : callable or None
        Called with everything else the watch has to say: first looks, events, heartbeats, changed standings.

    Yields
    ------
    Result
        With its digest. Its verdict is that of the capture alone; `on_update` also gets what the day makes of it.

    Raises
    ------
    UsageError
        When there is no such folder, `out` would lie in it, or no preset is called so.

    Examples
    --------
    >>> for result in qc.watch("in/bottles", preset="series"):  # doctest: +SKIP
    ...     print(result.file.name, result.verdict.level)
    """
    watching = Watch(
        folder,
        sheet=sheet,
        preset=preset,
        out=out,
        poll_s=poll_s,
        test=test,
        decoder=decoder,
        mosaic=mosaic,
    )
    return _results(watching, on_update)


async def awatch(
    folder: AnyPath,
    *,
    sheet: AnyPath | None = None,
    preset: str | None = None,
    out: AnyPath | None = None,
    poll_s: float | None = None,
    test: bool = False,
    decoder: str = "auto",
    mosaic: MosaicHint | None = None,
) -> AsyncIterator[Result]:
    """Yield as `watch` does, without blocking the event loop; parameters and errors are those of `watch`.

    The watch runs in a thread of its own. When the iteration ends, or its task is cancelled, running captures are
    finished and logged first.

    Yields
    ------
    Result
    """
    watching = Watch(
        folder,
        sheet=sheet,
        preset=preset,
        out=out,
        poll_s=poll_s,
        test=test,
        decoder=decoder,
        mosaic=mosaic,
    )
    results = _results(watching, None)
    loop = asyncio.get_running_loop()
    with ThreadPoolExecutor(1, thread_name_prefix="qc-watch") as thread:
        try:
            while (result := await loop.run_in_executor(thread, partial(next, results, None))) is not None:
                yield result
        finally:
            watching.stop()
            rest = loop.run_in_executor(thread, _run_out, results)
            await asyncio.shield(rest)


def _results(watching: Watch, on_update: Callable[[Update], object] | None) -> Iterator[Result]:
    with _ended_by_signals(watching):
        for update in watching.run():
            if isinstance(update, Judged):
                yield update.result
            if on_update is not None:
                on_update(update)


def _run_out(results: Iterator[Result]) -> None:
    for _ in results:
        pass


@contextmanager
def _ended_by_signals(watching: Watch) -> Iterator[None]:
    """Let Ctrl-C and SIGTERM end a watch in order, where nobody else handles them and this thread may."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    ours = [number for number in before if before[number] in (signal.SIG_DFL, signal.default_int_handler)]
    for number in ours:
        signal.signal(number, lambda *_: watching.stop())
    try:
        yield
    finally:
        for number in ours:
            signal.signal(number, before[number])
