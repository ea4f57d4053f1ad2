"""What runs in a worker of a batch, wherever that is: one capture, or one ambient test, from a path to an answer.

Whatever goes wrong with a file, or in our own code, is an answer. So an exception that comes out of an executor
speaks of the executor: a worker that died, a cluster that went away.
"""

from __future__ import annotations

import time
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from qc.errors import CaptureError, QcError
from qc.intake.updates import Job
from qc.intake.worker import warm as warm  # called once before the first job: see qc.intake.worker
from qc.result import FileFacts, Result
from qc.sheet.sheet import Sheet

if TYPE_CHECKING:
    from qc.decode import MosaicHint


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One piece of work.

    Attributes
    ----------
    paths : tuple of str
        One capture; or two for the ambient test, the dark frame first.
    known : frozenset of str
        Contents that are measured already: a file that holds one of them is read and not decoded.
    sheet, preset, decoder, mosaic
        As `qc.pipeline.measure_capture` takes them.
    """

    paths: tuple[str, ...]
    known: frozenset[str] = frozenset()
    sheet: Sheet | None = None
    preset: str | None = None
    decoder: str = "auto"
    mosaic: MosaicHint | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What became of a task: one of `result`, `file` and `lost`.

    Attributes
    ----------
    result : Result or None
        Of the capture or of the ambient test.
    file : FileFacts or None
        Of a file that holds a known content.
    lost : str or None
        Why there is neither, in words.
    retry : bool
        Whether trying once more could help.
    complaints : str
        What was written to the worker's standard error meanwhile, where that can be told.
    took_s : float
        Seconds.
    """

    result: Result | None = None
    file: FileFacts | None = None
    lost: str | None = None
    retry: bool = False
    complaints: str = ""
    took_s: float = 0.0


def work(task: Task) -> Answer:
    """Do a task; never raises for a bad file."""
    began = time.perf_counter()
    try:
        answer = _pair(task) if len(task.paths) > 1 else _capture(task)
    except QcError as error:
        answer = Answer(lost=str(error))
    except MemoryError:
        traceback.print_exc()
        answer = Answer(lost="memory ran out while it was measured", retry=True)
    except Exception as error:  # noqa: BLE001 - a defect of ours costs this file; it is told, with its traceback
        traceback.print_exc()
        answer = Answer(lost=f"internal fault: {type(error).__name__}: {' '.join(str(error).split())}")
    return replace(answer, took_s=time.perf_counter() - began)


def _capture(task: Task) -> Answer:
    from qc.container import load
    from qc.pipeline import measure_capture

    path = source = task.paths[0]
    how: dict[str, Any] = {"preset": task.preset, "decoder": task.decoder, "mosaic": task.mosaic}
    if not task.known:
        return Answer(result=measure_capture(path, task.sheet, **how))
    try:
        loaded = load(source)
    except CaptureError:  # what is wrong with it is said below
        return Answer(result=measure_capture(path, task.sheet, **how))
    if loaded.content in task.known:
        name = Path(path).name
        facts = FileFacts(path=path, name=name, bytes=loaded.size, content=loaded.content, sha256=loaded.sha256)
        return Answer(file=facts)
    return Answer(result=measure_capture(loaded, task.sheet, **how))


def _pair(task: Task) -> Answer:
    from qc.pipeline import measure_ambient

    result = measure_ambient(
        task.paths,
        task.sheet,
        preset=task.preset,
        dark=task.paths[:1],
        decoder=task.decoder,
        mosaic=task.mosaic,
    )
    return Answer(result=result)


@dataclass(frozen=True, slots=True, kw_only=True)
class Call(Job):
    """A function with its arguments, in the form that `qc.intake.workers.Pool` sends to its workers."""

    function: Callable[..., object]
    arguments: tuple[object, ...] = ()
    named: Mapping[str, object] = field(default_factory=dict)


def call(job: Job, _look: Callable[[Result], None]) -> Result:
    """Do what a `Call` says, in a worker of a pool; what it returns need not be a `Result`."""
    wanted = cast(Call, job)
    return cast(Result, wanted.function(*wanted.arguments, **wanted.named))
