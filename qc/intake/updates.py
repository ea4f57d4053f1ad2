"""What a watch tells its caller, and what it asks of a worker. Types only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from qc.event import Event
from qc.result import Result
from qc.series.entry import Standing
from qc.sheet.sheet import Sheet

if TYPE_CHECKING:
    from qc.decode import MosaicHint


@dataclass(frozen=True, slots=True, order=True)
class Stamp:
    """What tells one state of a file from another without reading it.

    Attributes
    ----------
    size : int
        Bytes.
    mtime_ns : int
        Time of the last change, nanoseconds since 1970.
    inode : int
        Number of the file on its file system.
    """

    size: int
    mtime_ns: int
    inode: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One piece of work for a worker.

    Attributes
    ----------
    number : int
        Its own, never used twice.
    task : {"capture", "ambient"}
        Measure one capture, or run the ambient test on `paths`: the dark frame, then the lit one.
    paths : tuple of str
        As the operating system gives them (`os.fsdecode`).
    sheet, preset, decoder, mosaic
        As `qc.pipeline.measure_capture` takes them.
    """

    number: int
    task: Literal["capture", "ambient"]
    paths: tuple[str, ...]
    sheet: Sheet | None = None
    preset: str | None = None
    decoder: str = "auto"
    mosaic: MosaicHint | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLook:
    """The first stage of a job: wholeness, settings, highlights.

    Attributes
    ----------
    job : Job
        Which.
    result : Result
        Without a digest.
    took_s : float
        Seconds since the worker took the job.
    """

    job: Job
    result: Result
    took_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """The end of a job.

    Attributes
    ----------
    job : Job
        Which.
    result : Result or None
        None when the job could not be done.
    complaints : str
        What was written to the worker's stderr meanwhile; empty for nothing.
    lost : str or None
        Why there is no result, in words: "took longer than 60 s and was stopped", "the decoder crashed
        (segmentation fault)", "internal fault: …". None when there is one.
    retry : bool
        Whether trying once more could help: the worker died while it had other work before.
    took_s : float
        Seconds.
    """

    job: Job
    result: Result | None
    complaints: str = ""
    lost: str | None = None
    retry: bool = False
    took_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Early:
    """A capture's first look, for whoever waits for it; the whole result follows as `Judged`."""

    result: Result


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A capture was measured, judged and logged; each capture has one of these, once.

    Attributes
    ----------
    result : Result
        Of the capture alone, with its digest.
    standing : Standing
        What the day makes of it.
    """

    result: Result
    standing: Standing


@dataclass(frozen=True, slots=True, kw_only=True)
class Restated:
    """What the day makes of a capture that was told before has changed.

    Because a late frame came, it was given a role, an alarm was answered, or its ambient test is done.
    """

    name: str
    standing: Standing


@dataclass(frozen=True, slots=True, kw_only=True)
class Recalled:
    """What was logged before this watch began; comes once, right after ``started``, when there is any.

    Attributes
    ----------
    standings : tuple of Standing
        Of the last twelve captures, in the order taken.
    names : mapping of str to str
        File names of those, by content.
    taken : mapping of str to str
        When those were taken, by content, as their cameras recorded it.
    """

    standings: tuple[Standing, ...]
    names: Mapping[str, str]
    taken: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Heartbeat:
    """How the watch stands; comes at least every few seconds while it runs.

    Attributes
    ----------
    last_name : str or None
        File name of the capture that came last.
    last_age_s : float or None
        Seconds since it came.
    measured : int
        Captures told since the watch began.
    waiting : int
        Captures that are complete and not yet told.
    arriving : tuple of str
        Names of captures that are not complete yet.
    free_bytes : int or None
        Free space on the disk of the watched folder; None when it cannot be asked.
    free_frames : int or None
        The same in captures of the usual size.
    needs : tuple of str
        What the set sheet still lacks.
    sheet_trouble : str or None
        Why the sheet that holds is not the one that is there, in one clause (`qc.intake.intent.Intent.trouble`).
    folder : {"well", "lost"}
        Whether the folder can be read.
    log : {"well", "lost"}
        Whether the log can be written.
    open_halts : tuple of Standing
        Halts that nobody answered, oldest first.
    names : mapping of str to str
        File names of those, by content.
    """

    last_name: str | None = None
    last_age_s: float | None = None
    measured: int = 0
    waiting: int = 0
    arriving: tuple[str, ...] = ()
    free_bytes: int | None = None
    free_frames: int | None = None
    needs: tuple[str, ...] = ()
    sheet_trouble: str | None = None
    folder: Literal["well", "lost"] = "well"
    log: Literal["well", "lost"] = "well"
    open_halts: tuple[Standing, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)


Update = Early | Judged | Restated | Recalled | Event | Heartbeat
"""What `qc.intake.watch.Watch.run` yields."""
