"""`Store`: pictures of the captures that the page of a watch shows, by key; of nothing else.

What is kept is the stored form of a digest, under 1 MB each, and only of those captures that the view names: the
last of the strip and the newest alarms. So memory stays flat however long the day is. Captures that were logged
before the watch began have theirs read from the log when they are asked for.
"""

from __future__ import annotations

import hashlib
import os
import re
import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from qc.digest import Digest
from qc.errors import LogError
from qc.intake.updates import Stamp
from qc.log.keys import pair_known_as
from qc.log.log import Log
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.entry import Standing
from qc.series.findings import ORIGIN
from qc.sheet.zones import Zone
from qc.show.mark import mark_of

QUALITY: Final = 80
"""Of the JPEG (libjpeg's scale, 1 to 100): no step shows at two metres. Our own choice."""

OUTSIDE: Final = "its file lies outside the watched folder"
CHANGED: Final = "its file does not lie in the watched folder any more as it was measured"
NO_PICTURE: Final = "nothing of it could be read as a picture"
NOT_KEPT: Final = "its picture was not kept"

_KEY: Final = re.compile("[0-9a-f]{2,}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What the page can show of one capture.

    Attributes
    ----------
    content : str
        What it is known by.
    standing : Standing
        What the day makes of it.
    zones : tuple of Zone
        Of the sheet that holds for it.
    result : Result or None
        Without digest and regions; None when the log does not have it.
    stored : bytes or None
        Stored form of its digest.
    size : (int, int) or None
        Width and height of the picture, pixels.
    without : str
        Why there is no picture, in a clause; empty where there is one.
    """

    content: str
    standing: Standing
    zones: tuple[Zone, ...] = ()
    result: Result | None = None
    stored: bytes | None = None
    size: tuple[int, int] | None = None
    without: str = ""

    @property
    def whole(self) -> Result | None:
        """The result with its digest and, as far as a picture can show them, its regions."""
        if self.result is None or self.stored is None:
            return self.result
        digest = Digest.from_bytes(self.stored)
        return replace(self.result, digest=digest, regions=digest.regions)


class Store:
    """Pictures by key; it may be asked from any thread.

    Parameters
    ----------
    folder : Path
        The watched folder. A capture that really lies elsewhere, to which a link in the folder leads, is measured
        like all others, but not shown.
    out : Path
        Where the log is.
    specs : sequence of Spec
        The measurements.
    """

    def __init__(self, folder: Path, out: Path, specs: Sequence[Spec] = ()) -> None:
        self.folder = folder
        self.out = out
        self.specs = specs
        self._lock = threading.Lock()
        self._held: dict[str, Held] = {}
        self._marks: dict[str, tuple[Standing, bytes | None]] = {}
        self._known: dict[str, Held] = {}
        """Captures that an earlier watch measured, as far as they may be asked for."""

    @property
    def size(self) -> int:
        """How many bytes of pictures are held."""
        with self._lock:
            return sum(len(held.stored or b"") for held in self._held.values())

    def put(self, result: Result, standing: Standing, zones: Sequence[Zone] = ()) -> None:
        """Keep what a capture that was just told can be shown by."""
        held = self._of(result, result.file.path, Held(content=standing.content, standing=standing))
        with self._lock:
            self._held[key_of(standing.content)] = replace(held, zones=tuple(zones))

    def recall(self, standing: Standing, zones: Sequence[Zone] = ()) -> None:
        """Let a capture that an earlier watch measured be asked for."""
        with self._lock:
            known = Held(content=standing.content, standing=standing, zones=tuple(zones))
            self._known[key_of(standing.content)] = known

    def restate(self, standing: Standing) -> None:
        """Note what the day makes of a capture now."""
        key = key_of(standing.content)
        with self._lock:
            for where in (self._held, self._known):
                if key in where:
                    where[key] = replace(where[key], standing=standing)

    def keep_only(self, contents: Iterable[str]) -> None:
        """Let go of everything else."""
        keys = set(map(key_of, contents))
        with self._lock:
            for where in (self._held, self._known, self._marks):
                for key in where.keys() - keys:
                    del where[key]

    def retry(self) -> None:
        """Read again, when it is asked for, what could not be read from the log."""
        with self._lock:
            for key in [key for key in self._known if key in self._held and self._held[key].stored is None]:
                del self._held[key]

    def held(self, key: str) -> Held | None:
        """Return what a capture can be shown by; None for one that is not shown here."""
        with self._lock:
            held, known = self._held.get(key), self._known.get(key)
        if held is not None or known is None:
            return held
        found = self._from_log(known)
        with self._lock:
            if key in self._known:  # it may have been let go of, or restated, meanwhile
                found = replace(found, standing=self._known[key].standing)
                self._held[key] = found
        return found

    def may_show(self, content: str) -> bool:
        """Tell whether the picture of any capture of the log may be shown."""
        standing = Standing(content=content, level=Level.UNJUDGED)
        held = self.held(key_of(content)) or self._from_log(Held(content=content, standing=standing))
        return held.without not in (OUTSIDE, CHANGED)

    def picture(self, key: str) -> bytes | None:
        """Return the picture of a capture as a JPEG; None where there is none."""
        held = self.held(key)
        if held is None or held.stored is None:
            return None
        import imageio.v3 as iio

        preview = Digest.from_bytes(held.stored).preview
        return bytes(iio.imwrite("<bytes>", preview, extension=".jpeg", quality=QUALITY))

    def mark(self, key: str) -> bytes | None:
        """Return the SVG that was made by `make_mark`; None where there is none."""
        with self._lock:
            return self._marks.get(key, (None, None))[1]

    def make_mark(self, standing: Standing) -> bytes | None:
        """Return where the first cause of a capture is, as an SVG over its picture; None where it has no place."""
        key = key_of(standing.content)
        with self._lock:
            made, mark = self._marks.get(key, (None, None))
        if made != standing:
            mark = self._mark_of(key, standing)
            with self._lock:
                self._marks[key] = standing, mark
        return mark

    def _mark_of(self, key: str, standing: Standing) -> bytes | None:
        held = self.held(key)
        if held is None or held.size is None or (result := held.whole) is None or not standing.causes:
            return None
        cause = standing.causes[0]
        of_test = cause.origin != ORIGIN and cause not in result.verdict.causes
        test = self._test_of(standing.content) if of_test else None
        return mark_of(result, standing, held.zones, self.specs, held.size, test=test)

    def _test_of(self, dark: str) -> Result | None:
        """Return the ambient test of a dark frame with its digest; it is in the log alone."""
        try:
            with Log.open(self.out, create=False, read_only=True) as log:
                logged = log.capture(dark)
                if logged is None or logged.ambient is None or logged.ambient_lit is None:
                    return None
                return replace(logged.ambient, digest=log.digest(pair_known_as(dark, logged.ambient_lit)))
        except LogError:  # that the log is lost is told; a mark less is no other verdict
            return None

    def _from_log(self, known: Held) -> Held:
        try:
            with Log.open(self.out, create=False, read_only=True) as log:
                logged = log.capture(known.content)
                digest = log.digest(known.content)
                paths = (logged.held or (logged.path,)) if logged is not None else ()
                stamps = {path: [s for s, held in log.known(path) if held == known.content] for path in paths}
        except LogError as error:
            return replace(known, without=f"its picture cannot be read: {error.cause}")
        if logged is None:
            return replace(known, without=NOT_KEPT)
        result = replace(logged.result, digest=digest)
        # its content may lie in the folder under one name while another is a link to elsewhere
        inside = [path for path in logged.held or (logged.path,) if self._is_inside(path)]
        if inside and not any(self._is_as_logged(path, stamps[path]) for path in inside):
            return replace(self._of(result, inside[0], replace(known, result=None)), stored=None, without=CHANGED)
        return self._of(result, next(iter(inside), logged.path), known)

    def _of(self, result: Result, path: str, held: Held) -> Held:
        held = replace(held, result=replace(result, digest=None, regions=()))
        if not self._is_inside(path):
            return replace(held, without=OUTSIDE)
        if result.digest is None:
            return replace(held, without=NO_PICTURE if result.camera.kind is None else NOT_KEPT)
        rows, columns = result.digest.preview.shape
        return replace(held, stored=result.digest.to_bytes(), size=(columns, rows))

    def _is_as_logged(self, path: str, stamps: Sequence[Stamp | None]) -> bool:
        """Tell whether a file is that which was measured: where its name leads may have been another then."""
        try:
            now = (self.folder / path).stat()
        except OSError:
            return False
        return any(s is not None and (s.size, s.mtime_ns) == (now.st_size, now.st_mtime_ns) for s in stamps)

    def _is_inside(self, path: str) -> bool:
        folder = os.path.realpath(self.folder)
        return Path(os.path.realpath(self.folder / path)).is_relative_to(folder)


def key_of(content: str) -> str:
    """Return the key of a capture, letters and digits only: what its digest is called."""
    mark = content.partition(":")[2]
    return mark if _KEY.fullmatch(mark) else hashlib.blake2b(content.encode(), digest_size=32).hexdigest()
