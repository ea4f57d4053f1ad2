"""`WorkerProcess`: one worker as the pool sees it: its process, the connection to it, its job, what it printed."""

from __future__ import annotations

import math
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from typing import Any

from qc.intake.updates import Done, FirstLook, Job
from qc.intake.worker import End, Look
from qc.result import Result

GRACE_S = 1.0
"""Seconds past its limit that a worker has to end itself and say where it hung, before it is killed."""

START_S = 60.0
"""Seconds in which a worker must have started."""

COMPLAINTS_LIMIT = 16_384
"""Most bytes of complaints kept with a job: half of it from the beginning, half from the end."""

_START = "from qc.intake.worker import main; main()"

_ONE_THREAD = (
    *("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"),
    "RAYON_NUM_THREADS",  # flashraw's
)

_TIMER = "Timeout ("
"""What `faulthandler` prints when a worker ends itself at its limit."""

_WORDS = {
    "SIGSEGV": "segmentation fault",
    "SIGBUS": "bus error",
    "SIGABRT": "it gave up by itself",
    "SIGFPE": "arithmetic fault",
    "SIGILL": "illegal instruction",
    "SIGKILL": "killed from outside, perhaps for want of memory",
}


class WorkerProcess:
    """A started worker.

    Parameters
    ----------
    limit_s : float
        Seconds that one job may take.
    task : str
        What it does with a job, as ``"module:function"``.
    environment : mapping
        What `environment` returned.

    Raises
    ------
    OSError
        When the operating system gives no process, memory or descriptors.
    """

    def __init__(self, limit_s: float, task: str, environment: Mapping[str, str]) -> None:
        self.job: Job | None = None
        self.jobs = 0
        self.warm = self.at_work = False
        self._limit_s = limit_s
        self._began = time.monotonic()
        self._log = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115 - open as long as the worker
        self.connection, far = Pipe()
        try:
            with far:
                self.process = subprocess.Popen(
                    [sys.executable, "-P", "-c", _START, str(far.fileno()), str(limit_s), task],
                    stdin=subprocess.DEVNULL,
                    stdout=self._log,
                    stderr=self._log,
                    env=environment,
                    **_inherited(far),
                )
        except BaseException:
            self._close()
            raise

    @property
    def due(self) -> float:
        """When it must have done what it is at (`time.monotonic`); infinity while it waits for a job."""
        if not self.warm:
            return self._began + START_S
        return self._began + self._limit_s + GRACE_S if self.job else math.inf

    def ready(self) -> None:
        """Note that it has started."""
        self.warm, self._began = True, time.monotonic()

    def take(self, job: Job) -> None:
        """Give it a job.

        Raises
        ------
        OSError
            When it has died.
        """
        if self.process.poll() is not None:
            raise BrokenPipeError("the worker has ended")
        self.connection.send(job)
        self.job, self.at_work = job, False
        if self.warm:
            self._began = time.monotonic()

    def taken(self) -> None:
        """Note that it has its job in hand; the time of the job counts from now."""
        self.at_work, self._began = True, time.monotonic()

    def looked(self, look: Look) -> FirstLook:
        """Return the first stage of its job; the time it waited to be read does not count."""
        assert self.job is not None, "only a worker with a job speaks of one"
        self._began = time.monotonic() - look.took_s
        return FirstLook(job=self.job, result=look.result, took_s=look.took_s)

    def finish(self, end: End) -> Done:
        """Return what its job came to; it is idle then."""
        return self._done(end.result, end.lost, retry=end.retry, took_s=end.took_s)

    def lost(self, why: str, *, retry: bool) -> Done:
        """Return that its job was lost."""
        return self._done(None, why, retry=retry, took_s=time.monotonic() - self._began)

    def lost_by_its_end(self) -> Done:
        """Return that its job was lost because its process has ended."""
        status = self.status()
        if self.warm and status == 1 and _TIMER in self._complaints():
            return self.lost_by_time()
        how = how_ended(status)
        if not self.warm:
            return self.lost(f"no worker could be started ({how})", retry=True)
        return self.lost(f"the decoder crashed ({how})", retry=self.jobs > 0 or status == -9)

    def lost_by_time(self) -> Done:
        """Return that its job was lost because it took too long."""
        if not self.warm:
            return self.lost(f"no worker could be started in {START_S:g} s", retry=True)
        return self.lost(f"took longer than {self._limit_s:g} s and was stopped", retry=self.jobs > 0)

    def status(self) -> int:
        """Return the exit status of a process whose connection has ended."""
        try:
            return self.process.wait(timeout=GRACE_S)
        except subprocess.TimeoutExpired:  # something in it closed the connection: it is of no more use
            self.process.kill()
            return self.process.wait()

    def let_go(self) -> subprocess.Popen[bytes]:
        """Close all that leads to it, by which it ends; return the process, to be waited for."""
        self._close()
        return self.process

    def _close(self) -> None:
        self.connection.close()
        self._log.close()

    def _done(self, result: Result | None, lost: str | None, *, retry: bool, took_s: float) -> Done:
        assert self.job is not None, "only a worker with a job ends one"
        job, self.job = self.job, None
        self.jobs += 1
        return Done(job=job, result=result, complaints=self._complaints(), lost=lost, retry=retry, took_s=took_s)

    def _complaints(self) -> str:
        """Return what was printed since the job began, shortened in the middle."""
        half = COMPLAINTS_LIMIT // 2
        size = self._log.seek(0, os.SEEK_END)
        self._log.seek(0)
        said = self._log.read(half)
        if size > half:
            self._log.seek(max(half, size - half))
            left_out = max(0, size - 2 * half)
            said += (f"\n[{left_out} bytes left out]\n".encode() if left_out else b"") + self._log.read(half)
        return said.decode("utf-8", "backslashreplace").strip()


def environment() -> dict[str, str]:
    """Return the environment of a worker: it finds the modules this process finds, and computes in one thread."""
    path = os.pathsep.join(os.path.abspath(place) for place in sys.path)  # noqa: PTH100 - "" is the current folder
    return dict(os.environ) | dict.fromkeys(_ONE_THREAD, "1") | {"PYTHONPATH": path}


def how_ended(status: int) -> str:
    """Return in words how a process ended, by its exit status as `subprocess` gives it."""
    if status >= 0:
        return f"exit status {status}" if status < 256 else f"exit status {status:#010x}"
    try:
        name = signal.Signals(-status).name
    except ValueError:
        return f"signal {-status}"
    return _WORDS.get(name, name)


def _inherited(far: Connection) -> dict[str, Any]:
    """Return how `subprocess.Popen` hands a connection on to a process that this terminal's keys do not reach."""
    if sys.platform == "win32":
        os.set_handle_inheritable(far.fileno(), True)
        return {
            "startupinfo": subprocess.STARTUPINFO(lpAttributeList={"handle_list": [far.fileno()]}),
            "creationflags": subprocess.BELOW_NORMAL_PRIORITY_CLASS
            | subprocess.CREATE_NEW_PROCESS_GROUP
            | subprocess.CREATE_NO_WINDOW,
        }
    return {"pass_fds": (far.fileno(),), "start_new_session": True}
