"""Which captures of a folder are known: by path, by content, and which files are one capture together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from qc.intake.names import is_raw, stem_key
from qc.intake.updates import Stamp

SAME_SHOT_S = 2.0
"""Most seconds between the recorded times of a raw and of the finished picture beside it. Our own choice: a slow
card writes them seconds apart, with one time in both."""

HEAD = 512 * 1024
"""Bytes at the start of a file in which its recorded time is looked for."""


class Roster:
    """The captures of one folder. Paths are relative to it.

    Parameters
    ----------
    folder : Path
        The watched folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._known: dict[str, tuple[Stamp | None, str | None]] = {}
        self._paths: dict[str, list[str]] = defaultdict(list)
        self._stems: dict[tuple[str, str], set[str]] = defaultdict(set)

    def present(self, path: str) -> None:
        """Note that a path is in the folder."""
        self._stems[stem_key(path)].add(path)

    def gone(self, path: str) -> None:
        """Note that a path is in the folder no more; what it held stays known."""
        self._stems[stem_key(path)].discard(path)

    def is_present(self, path: str) -> bool:
        """Tell whether a path was in the folder when it was last looked at."""
        return path in self._stems[stem_key(path)]

    def knows(self, path: str, stamp: Stamp) -> bool:
        """Tell whether this very file was measured, or joined to a capture, before."""
        return path in self._known and self._known[path][0] == stamp

    def is_known(self, path: str) -> bool:
        """Tell whether anything was measured, or joined to a capture, under a path."""
        return path in self._known

    def content_of(self, path: str) -> str | None:
        """Return the content last measured under a path."""
        return self._known.get(path, (None, None))[1]

    def remember(self, path: str, stamp: Stamp | None, content: str | None) -> None:
        """Note what a path holds; None for a companion that is not measured itself."""
        self._known[path] = stamp, content
        if content is not None and path not in self._paths[content]:
            self._paths[content].append(path)

    def path_of(self, content: str) -> str | None:
        """Return where a content lies: where it is present, else where it last was."""
        paths = [path for path in self._paths.get(content, ()) if self.content_of(path) == content]
        return next((path for path in paths if self.is_present(path)), paths[-1] if paths else None)

    def twin_of(self, path: str, content: str) -> str | None:
        """Return another path under which the same content was measured before, or None."""
        others = [other for other in self._paths.get(content, ()) if other != path]
        return next((other for other in others if self.content_of(other) == content), None)

    def raw_of(self, path: str) -> str | None:
        """Return the raw that a finished picture belongs to, or None: the raw is the capture then."""
        if is_raw(path):
            return None
        return next(iter(sorted(self._partners(path, raw=True))), None)

    def finished_of(self, path: str) -> tuple[str, ...]:
        """Return the finished pictures that belong to a raw."""
        return tuple(sorted(self._partners(path, raw=False))) if is_raw(path) else ()

    def beside(self, path: str) -> tuple[str, ...]:
        """Return the other files of a path's stem, whether they belong to it or not; none of them is opened."""
        return tuple(sorted(other for other in self._stems[stem_key(path)] if other != path))

    def _partners(self, path: str, *, raw: bool) -> Iterable[str]:
        for other in self._stems[stem_key(path)]:
            if other != path and is_raw(other) is raw and same_shot(self._folder / path, self._folder / other):
                yield other


def same_shot(one: Path, other: Path) -> bool:
    """Tell whether two files of one stem are one press of the shutter: their times agree, or one has none."""
    times = _taken(one), _taken(other)
    if times[0] is None or times[1] is None:
        return True
    apart = times[0].replace(tzinfo=None) - times[1].replace(tzinfo=None)
    return abs(apart.total_seconds()) <= SAME_SHOT_S


def _taken(path: Path) -> datetime | None:
    from qc.container import inspect, read_head

    try:
        taken = inspect(read_head(path, HEAD), name=path.name).camera.taken
        return datetime.fromisoformat(taken) if taken else None
    except (OSError, ValueError):
        return None  # it is on its way, or has no readable time: the stem decides
