"""`Result`: all that is known of one capture after measuring and judging it. Types only.

One to one with the JSON contract ``qc.capture/1``; `qc.contract` writes it.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from qc.digest import Digest
from qc.errors import UsageError
from qc.frame import Camera
from qc.reading import Finding, Level, Reading, Region

State = Literal["whole", "arriving", "damaged", "truncated", "empty", "unsupported", "unreadable", "vanished"]

STATES: Mapping[State, str] = {
    "whole": "all of the file is there",
    "arriving": "the file is still being written; it is not measured yet",
    "damaged": "the file has its full length, but what is in it cannot be what the camera wrote",
    "truncated": "the file ends before its data does",
    "empty": "the file has no bytes",
    "unsupported": "a kind of file that is known and that no installed decoder reads",
    "unreadable": "no picture at all, a folder, or a file that may not be read",
    "vanished": "there is no such file, or it went away before it was read",
}
"""Every state of a file and what it means."""

Schema = Literal["qc.capture/1", "qc.ambient/1"]
"""Name and version of the JSON contract a result follows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One reason of a verdict.

    Attributes
    ----------
    reading : str
        Catalogue name of the reading, code of the finding, or ``"file.state"``.
    zone : str or None
        Zone.
    level : Level
        What it alone would give.
    limit : float or None
        The limit that was passed, in the reading's unit.
    origin : str
        Where that limit came from: ``"preset series"``, ``"sheet"``, ``"sheet, zone label"``, ``"always"``.
    text : str
        As a photographer would say it.
    """

    reading: str
    zone: str | None
    level: Level
    limit: float | None
    origin: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Level and causes, most important first, in the order of `qc.judge`."""

    level: Level
    causes: tuple[Cause, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FileFacts:
    """What is known of the file itself.

    Attributes
    ----------
    path, name : str
        As the operating system gives them (`os.fsdecode`); `qc.errors.printable` makes them fit for a screen.
    bytes : int
        Size; 0 when it has vanished.
    content : str or None
        ``"blake2b:…"``; None when it could not be read.
    state : State
        Wholeness.
    detail : str or None
        Cause in words when `state` is not whole.
    companions : tuple of str
        Names of files that belong to the same capture.
    sha256 : str or None
        64 hexadecimal digits, for the ordinary tools; None when it could not be read.
    """

    path: str
    name: str
    bytes: int = 0
    content: str | None = None
    state: State = "whole"
    detail: str | None = None
    companions: tuple[str, ...] = ()
    sha256: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraFacts:
    """Recorded settings with the kind and size of the picture (upright)."""

    settings: Camera = field(default_factory=Camera)
    kind: str | None = None
    width: int | None = None
    height: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeBy:
    """How a result was made: tool, decoder and method versions."""

    tool: str
    decoder: str | None
    methods: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """All that is known of one capture.

    `dark` and `lit` are filled by the ambient test only, whose `file` and `camera` are those of the lit frame.
    Two results are equal when all they say is; the digest, a picture, is not compared.
    """

    schema: Schema = "qc.capture/1"
    file: FileFacts
    camera: CameraFacts
    readings: tuple[Reading, ...] = ()
    findings: tuple[Finding, ...] = ()
    regions: tuple[Region, ...] = ()
    verdict: Verdict
    sheet_name: str | None = None
    sheet_digest: str | None = None
    made_by: MadeBy
    measured_at: str
    replaces: str | None = None
    digest: Digest | None = field(default=None, repr=False, compare=False)
    dark: tuple[tuple[FileFacts, CameraFacts], ...] = ()
    lit: tuple[tuple[FileFacts, CameraFacts], ...] = ()

    def reading(self, name: str, zone: str | None = None) -> Reading | None:
        """Return one reading.

        Parameters
        ----------
        name : str
            Catalogue name, such as ``"sharpness.blur"``.
        zone : str or None
            Name of the zone; None for the frame.

        Returns
        -------
        Reading or None
            None when there is such a reading and it was not taken here: of a file that was not measured, of a zone
            whose role it is not for, of another kind of test.

        Raises
        ------
        UsageError
            When no measurement has a reading of that name; names what is near.
        """
        for reading in self.readings:
            if reading.name == name and reading.zone == zone:
                return reading
        if not any(reading.name == name for reading in self.readings):
            _check_reading(name)
        return None


def _check_reading(name: str) -> None:
    from qc.measure import specs  # heavy, and needed only where a name is not among the readings

    names = [reading.name for spec in specs() for reading in spec.readings]
    if name not in names:
        close = difflib.get_close_matches(name, names, n=3)
        hint = f"; near it: {', '.join(close)}" if close else "; `qc explain` lists what there is"
        raise UsageError(f"no reading is called {name!r}{hint}")
