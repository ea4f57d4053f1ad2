"""What runs inside a worker: one job after another, in a process that can neither disturb nor outlive the watch.

Standard output and standard error are one file that the pool reads: decoders and C libraries may print what they
like. The process says what it has to say through one connection, and ends when that is closed, which is also what
it sees when the watch was killed.
"""

from __future__ import annotations

import contextlib
import faulthandler
import io
import os
import pickle
import queue
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from qc.errors import QcError
from qc.intake.updates import Job
from qc.result import Result

if sys.platform == "win32":
    from multiprocessing.connection import PipeConnection as Connection
else:
    from multiprocessing.connection import Connection

if TYPE_CHECKING:
    from collections.abc import Iterator

Task = Callable[[Job, Callable[[Result], None]], Result]
"""What a worker does with a job: call the second argument with the first look, return the whole result."""

NICE = 5
"""Steps of lowered priority: a third of the share of a program at normal priority (1.25 a step, sched(7)).

More of them would starve the watch beside a busy program: a verdict late is of no use."""

MOST_SAID = 8_000_000
"""Bytes that a job may print; more is thrown away by the operating system."""

WARM = (
    "PIL.ImageOps",
    "PIL.JpegImagePlugin",
    "concurrent.futures.thread",
    "flashraw",
    "qc.decode.codes",
    "qc.decode.rendered",
    "qc.decode.with_flashraw",
    "qc.decode.with_rawpy",
    "qc.digest",
    "qc.pipeline",
    "rawpy",
    "skimage.measure.pnpoly",
    "tifffile",
)
"""Modules that measuring imports on first use; a capture shall not wait for them."""

_LIKELIEST_OOM = 500  # of 1000, proc(5): this process goes before the watch and the program that fills the folder


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """The worker has imported everything and waits for a job."""

    took_s: float


@dataclass(frozen=True, slots=True)
class Taken:
    """The worker has its job in hand: if it dies now, the job may be why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """The first stage of the job in hand."""

    result: Result
    took_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """The end of the job in hand: a result, or in words why there is none."""

    result: Result | None = None
    lost: str | None = None
    retry: bool = False
    took_s: float


Message = Ready | Taken | Look | End
"""What a worker says."""


def measure(job: Job, look: Callable[[Result], None]) -> Result:
    """Do what a job of the watch asks; see `qc.intake.updates.Job`.

    Parameters
    ----------
    job : Job
        A capture, or a dark frame and a lit one.
    look : callable
        Called with the first stage of a capture that can be measured.

    Returns
    -------
    Result

    Raises
    ------
    UsageError
        As `qc.pipeline.measure_stages` and `qc.pipeline.measure_ambient`.
    """
    from qc.pipeline import measure_ambient, measure_stages

    if job.task == "ambient":
        return measure_ambient(
            job.paths,
            job.sheet,
            preset=job.preset,
            dark=job.paths[:1],
            decoder=job.decoder,
            mosaic=job.mosaic,
        )
    stages = measure_stages(job.paths[0], job.sheet, preset=job.preset, decoder=job.decoder, mosaic=job.mosaic)
    for result in stages:
        if result.file.state == "whole" and result.digest is None:
            look(result)
    return result


def warm() -> None:
    """Import what `measure` needs, and let OpenCV compute in one thread: the pool has a worker for each core."""
    import cv2

    from qc.measure import specs
    from qc.measure._colour import science
    from qc.pipeline import tool

    cv2.setNumThreads(1)
    specs()
    science()
    tool()
    for name in WARM:
        with contextlib.suppress(ImportError):  # an extra that is not installed; what is needed says so itself
            import_module(name)


def main() -> NoReturn:
    """Serve the pool that started this process: ``sys.argv`` is the connection, the time limit and the task."""
    began = time.perf_counter()
    handle, limit_s, task = sys.argv[1:]
    _keep_to_itself()
    _give_way()
    connection = Connection(int(handle))
    jobs: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(connection, jobs), daemon=True).start()
    run = _prepared(task)
    _say(connection, pickle.dumps(Ready(took_s=time.perf_counter() - began)))
    while True:
        _serve(jobs.get(), run, connection, float(limit_s))


def _serve(wanted: bytes, run: Task, connection: Connection, limit_s: float) -> None:
    """Do one job. However it ends, the pool is told; a job that hangs ends the process."""
    began = time.perf_counter()

    def look(result: Result) -> None:
        took_s = time.perf_counter() - began
        message = pickle.dumps(Look(result=result, took_s=took_s))
        with _untimed(limit_s - took_s):
            _say(connection, message)

    _say(connection, pickle.dumps(Taken()))
    _empty_record()
    faulthandler.dump_traceback_later(limit_s, exit=True)
    end = _end_of(lambda: run(pickle.loads(wanted), look), began)
    faulthandler.cancel_dump_traceback_later()
    _say(connection, end)


@contextlib.contextmanager
def _untimed(left_s: float) -> Iterator[None]:
    """Stop the timer that ends a job which hangs, and go on with it after the block.

    A watch that is slow to read, because its caller is, must not look like a job that hangs. The timer is a thread
    of C: it works while a decoder holds the interpreter and when the watch is gone, and it prints where the worker
    hung.
    """
    faulthandler.cancel_dump_traceback_later()
    yield
    faulthandler.dump_traceback_later(max(0.001, left_s), exit=True)


def _empty_record() -> None:
    if os.fstat(2).st_size:
        os.lseek(2, 0, os.SEEK_SET)  # file descriptors 1 and 2 share their place in the file
        os.ftruncate(2, 0)


def _end_of(work: Callable[[], Result], began: float) -> bytes:
    lost, retry = None, False
    try:
        return pickle.dumps(End(result=work(), took_s=time.perf_counter() - began))
    except QcError as error:
        lost = str(error)
    except MemoryError:
        traceback.print_exc()
        lost, retry = "memory ran out while it was measured", True
    except Exception as error:  # noqa: BLE001 - a defect of ours costs this file; it is told, with its traceback
        traceback.print_exc()
        lost = f"internal fault: {type(error).__name__}: {' '.join(str(error).split())}"
    return pickle.dumps(End(lost=lost, retry=retry, took_s=time.perf_counter() - began))


def _listen(connection: Connection, jobs: queue.SimpleQueue[bytes]) -> NoReturn:
    """Pass jobs on; end the process, also in the middle of a decode, when the watch closes or is gone."""
    try:
        while True:
            jobs.put(connection.recv_bytes())
    except (EOFError, OSError):
        os._exit(0)


def _say(connection: Connection, message: bytes) -> None:
    try:
        connection.send_bytes(message)
    except OSError:  # the watch is gone: there is nobody to tell
        os._exit(0)


def _keep_to_itself() -> None:
    """Leave no traces, and leave to the watch what to do on Ctrl-C, on a closed terminal and on being ended."""
    from qc.decode.complaints import stay

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    faulthandler.enable()
    stay()
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(line_buffering=True)
    try:
        import resource
    except ImportError:  # Windows
        return
    # a dump of memory would land in the current folder, perhaps the watched one
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (MOST_SAID, MOST_SAID))


def _give_way() -> None:
    """Let every other program go first: the machine also runs the one that fills the folder."""
    if hasattr(os, "nice"):
        os.nice(NICE)
    # Linux shares out time by session before it looks at priorities, sched(7)
    for name, value in (("autogroup", NICE), ("oom_score_adj", _LIKELIEST_OOM)):
        with contextlib.suppress(OSError):  # not Linux, or not allowed here: the worker is only less modest
            Path("/proc/self", name).write_text(str(value), encoding="ascii")


def _prepared(task: str) -> Task:
    """Return a task by its name, after what its module has to warm."""
    place, _, name = task.partition(":")
    module = import_module(place)
    getattr(module, "warm", lambda: None)()
    found: Task = getattr(module, name)
    return found
