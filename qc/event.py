"""`Event`: something that happened in the day besides a measurement; the log's timeline and the watch's words.

One to one with the JSON contract ``qc.event/1``. Types only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from qc.reading import Level

KINDS: Mapping[str, str] = {
    "started": "a watch began",
    "ended": "a watch ended",
    "arriving": "a capture has been incomplete for some time; it is looked at again when it changes",
    "left_incomplete": "a capture stayed incomplete and nothing writes to it any more; told once",
    "duplicate": "the same content under another name: not measured again",
    "new_content": "a name that is known holds a new capture",
    "joined": "a further file of a capture came, such as the JPEG beside a raw",
    "vanished": "a capture went away before it was measured",
    "gone": "a capture that is in the log is not in the folder any more; it stays in the log",
    "first_look": "wholeness, settings and highlights of a capture are known; the rest follows",
    "series": "a finding about several captures was made, changed or cleared when a late frame came",
    "folder_lost": "the watched folder cannot be read",
    "folder_back": "the watched folder can be read again",
    "folder_closed": "a folder inside the watched one cannot be read: what is in it is not seen",
    "polling": "the folder gives no notice of changes: it is looked at every few seconds",
    "disk_full": "the disk of the watched folder is full",
    "disk_room": "the disk of the watched folder has room again",
    "log_lost": "the log cannot be written; measuring goes on",
    "log_back": "the log can be written again; what was missing has been added",
    "worker_lost": "a worker was stopped or crashed over a capture",
    "sheet_changed": "the set sheet changed and holds from the next frame on",
    "sheet_bad": "the set sheet has mistakes: the last good one holds",
    "accepted": "a limit was raised because what a capture shows is intended",
    "undone": "the last acceptance, role or answer was taken back",
    "role": "a capture was given a role",
    "answered": "an alarm was answered without changing a limit",
}
"""Every kind of event and what it means."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One event.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    at : str
        Local time with offset, ISO 8601, milliseconds.
    text : str
        One sentence for people; names in it are printable.
    name : str or None
        File name of the capture it is about, as the operating system gave it.
    content : str or None
        What that capture is known by.
    level : Level or None
        ``note``, ``warn`` or ``halt`` where the event asks for attention.
    data : mapping
        JSON-ready figures and names behind the sentence.
    """

    kind: str
    at: str
    text: str
    name: str | None = None
    content: str | None = None
    level: Level | None = None
    data: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"no kind of event is called {self.kind!r}")


def now() -> str:
    """Return the local time as events record it."""
    return datetime.now().astimezone().isoformat(timespec="milliseconds")
