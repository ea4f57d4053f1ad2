"""What workers do in tests instead of measuring: the first of a job's paths says what."""

from __future__ import annotations

import ctypes
import os
import re
import resource
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

from qc.errors import UsageError
from qc.intake.updates import Job
from qc.reading import Level
from qc.result import CameraFacts, FileFacts, MadeBy, Result, Verdict

Look = Callable[[Result], None]


def result_of(text: str) -> Result:
    """Return a result that says one thing, as its file's detail."""
    return Result(
        file=FileFacts(path="toy.dng", name="toy.dng", detail=text),
        camera=CameraFacts(),
        verdict=Verdict(level=Level.UNJUDGED),
        made_by=MadeBy(tool="test", decoder=None, methods={}),
        measured_at="2026-01-01T00:00:00+00:00",
    )


def obey(job: Job, look: Look) -> Result:
    """Do what the job's first path names, with its second as an argument."""
    what, *more = job.paths
    if what == "big_first":
        look(result_of("x" * 3_000_000))
        return result_of("the rest")
    text = ORDERS[what](*more)
    return result_of(str(text))


def pid() -> int:
    return os.getpid()


def sleep(seconds: str, note: str = "") -> str:
    """Hang in a way that lets other threads run; says its process in `note` first."""
    if note:
        Path(note).write_text(str(os.getpid()), encoding="ascii")
    time.sleep(float(seconds))
    return "slept"


def hold(note: str = "") -> str:
    """Hang in C code that keeps the interpreter to itself, for longer than any test waits."""
    if note:
        Path(note).write_text(str(os.getpid()), encoding="ascii")
    re.match(r"(a+)+$", "a" * 60 + "b")
    return "never"


def stopped() -> None:
    os.kill(os.getpid(), signal.SIGSTOP)


def die_by(name: str) -> None:
    os.kill(os.getpid(), getattr(signal, name))


def crash() -> None:
    ctypes.string_at(0)


def leave(status: str) -> None:
    os._exit(int(status))


def exit_politely() -> None:
    sys.exit(3)


def say(text: str) -> str:
    """Print in every way there is."""
    os.write(1, f"1 {text}\n".encode())
    os.write(2, f"2 {text}\n".encode())
    print(f"out {text}")
    print(f"err {text}", file=sys.stderr)
    return "said"


def say_in_decoder_and_crash() -> None:
    from qc.decode.complaints import complaints

    with complaints():
        os.write(2, b"data corrupted at 17\n")
        die_by("SIGSEGV")


def flood() -> str:
    """Print without end, as C code does, which takes no notice of errors."""
    said = os.write(2, b"first words\n")
    line = b"scan line is broken\n" * 1000
    while True:
        try:
            said += os.write(2, line)
        except OSError:
            return str(said)


def misuse() -> None:
    raise UsageError("these frames cannot be compared")


def fault() -> None:
    raise ZeroDivisionError("one\nover none")


def no_memory() -> None:
    raise MemoryError


def huge(megabytes: str) -> str:
    return "x" * (int(megabytes) * 1_000_000)


def state() -> str:
    """Tell how modest this process is."""
    return repr(
        {
            "nice": os.nice(0),
            "core": resource.getrlimit(resource.RLIMIT_CORE)[0],
            "threads": os.environ["OMP_NUM_THREADS"],
            "keys": [signal.getsignal(s) is signal.SIG_IGN for s in (signal.SIGINT, signal.SIGTERM)],
            "input": os.read(0, 1),
            "main": getattr(sys.modules["__main__"], "__file__", None),
        }
    )


def obey_with_a_lambda(job: Job, look: Look) -> Result:
    """Return what cannot be sent."""
    del job, look
    return lambda: None  # type: ignore[return-value]  # that is the fault


ORDERS: dict[str, Callable[..., object]] = {
    **{
        f.__name__: f
        for f in (
            pid, sleep, hold, stopped, die_by, crash, leave, exit_politely, say, say_in_decoder_and_crash, flood,
            misuse, fault, no_memory, huge, state,
        )
    },
}  # fmt: skip
