"""`Log`: the log of a day, one SQLite file in the output folder with digests beside it.

Each method is one transaction or one question. Losing the disk, or the patience with another process, is a
`LogError`; the same log is opened again by the next call, and what was not added can be added then.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Literal, Self

from qc.digest import Digest
from qc.errors import printable
from qc.event import Event, now
from qc.intake.updates import Stamp
from qc.log import digests, read, rows, write
from qc.log.additions import Addition, addition_of, ambient_addition
from qc.log.connect import cause_of
from qc.log.database import Database
from qc.log.keys import Key, pair_known_as, stamp_of
from qc.log.lately import Lately, lately
from qc.log.said import ACTS, said
from qc.reading import Level, Spec
from qc.result import Result
from qc.sheet.sheet import Sheet

if TYPE_CHECKING:
    from qc.log.rows import Captured, Judged, Logged
    from qc.series.entry import Entry

NAME = "log.sqlite3"


class Log:
    """The log of a day. `Log.open` makes one; it may be used from any thread, and closes as a context manager.

    Attributes
    ----------
    out : Path
        Output folder.
    path : Path
        The database in it.
    """

    def __init__(self, out: Path, *, create: bool, read_only: bool) -> None:
        self.out = out
        self.path = out / NAME
        self._disk = Database(self.path, create=create, read_only=read_only)
        self._pictures_lost = False

    @classmethod
    def open(cls, out: str | os.PathLike[str], *, create: bool = True, read_only: bool = False) -> Log:
        """Open the log of an output folder and bring it up to date.

        Parameters
        ----------
        out : path
            Output folder; made when `create`, but not the folders above it.
        create : bool
            Whether a missing log is made.
        read_only : bool
            Whether nothing of the log is changed, as for a report from a disk that is write-protected. On any
            other disk SQLite may leave its own empty ``-wal`` and ``-shm`` beside it.

        Raises
        ------
        LogError
            When it cannot be opened, was written by a newer framegauge, or is something else.
        """
        log = cls(Path(os.fsdecode(out)), create=create, read_only=read_only)
        with log._disk.asked():
            if not read_only:
                digests.sweep(log.out)
        return log

    def close(self) -> None:
        """Let go of the file; what was added is on the disk already."""
        self._disk.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def add(self, captured: Captured) -> tuple[Event, ...]:
        """Add a capture, wholly or not at all.

        What is there already is left: the same again changes nothing, other limits add a verdict, another key a
        measurement, another path an arrival. A digest that cannot be written does not keep the capture out of the
        log: the measurement says why it has none, and an event stands in the timeline.

        Returns
        -------
        tuple of Event
            What the log itself put into the timeline: that pictures cannot be kept (``log_lost``), once until
            they can be again (``log_back``); ``data["part"]`` is ``"digests"``. Add the same again when the disk
            is well, and the missing digest is written.

        Raises
        ------
        LogError
            When it cannot be written; nothing of it is there then.
        """
        return self._add(addition_of(captured), captured.result, captured.content, captured.events)

    def add_ambient(
        self,
        result: Result,
        *,
        dark: str,
        lit: str,
        limits: str,
        sheet: Sheet | None = None,
        sheet_text: str | None = None,
        text: str = "",
        took_s: float = 0.0,
        events: Sequence[Event] = (),
    ) -> tuple[Event, ...]:
        """Add the ambient test of a dark frame against a lit one; the newest is the current one of its dark frame.

        Parameters
        ----------
        result : Result
            Of `qc.pipeline.measure_ambient`.
        dark, lit : str
            Content of the two frames.
        limits : str
            Digest of the limits.
        sheet : Sheet or None
            With the zones it was measured with.
        sheet_text : str or None
            Text of that sheet with what was accepted.
        text : str
            Its figures in words, for `Entry.ambient_text`.
        took_s : float
            Seconds that measuring took.
        events : sequence of Event
            As `Captured.events`.

        Returns
        -------
        tuple of Event
            As `add`.

        Raises
        ------
        LogError
            As `add`.
        """
        addition = ambient_addition(
            result, dark=dark, lit=lit, limits=limits, sheet=sheet, sheet_text=sheet_text, text=text, took_s=took_s
        )
        return self._add(addition, result, pair_known_as(dark, lit), events)

    def event(self, event: Event) -> int:
        """Put an event into the timeline; returns its number."""
        row = rows.event_row(event)
        with self._disk.writing() as db:
            return write.put_event(db, row)

    def events(self, after: int = 0, kinds: Iterable[str] | None = None) -> list[tuple[int, Event]]:
        """Return events with their numbers, oldest first.

        Parameters
        ----------
        after : int
            Only those with a higher number.
        kinds : iterable of str or None
            Only these kinds; None for all.
        """
        wanted = None if kinds is None else list(kinds)
        where = "" if wanted is None else f" AND kind IN ({', '.join('?' * len(wanted))})"
        question = f"SELECT id, document FROM events WHERE id > ?{where} ORDER BY id"
        with self._disk.asked() as db:
            found = db.execute(question, (after, *(wanted or ()))).fetchall()
        return [(row["id"], rows.event_of(row["document"])) for row in found]

    def known(self, path: str) -> list[tuple[Stamp | None, str]]:
        """Return each state of a file that is logged under a path, with its content, oldest first."""
        question = "SELECT stamp, content FROM arrivals WHERE path = ? ORDER BY id"
        with self._disk.asked() as db:
            return [(stamp_of(r["stamp"]), r["content"]) for r in db.execute(question, (os.fsencode(path),))]

    def arrivals(self) -> list[tuple[str, Stamp | None, str]]:
        """Return path, stamp and content of every arrival, oldest first."""
        question = "SELECT path, stamp, content FROM arrivals ORDER BY id"
        with self._disk.asked() as db:
            found = db.execute(question).fetchall()
        return [(os.fsdecode(row["path"]), stamp_of(row["stamp"]), row["content"]) for row in found]

    def by_content(self, content: str) -> list[str]:
        """Return the paths that a content is logged under, oldest first."""
        question = "SELECT path FROM arrivals WHERE content = ? GROUP BY path ORDER BY min(id)"
        with self._disk.asked() as db:
            return [os.fsdecode(row["path"]) for row in db.execute(question, (content,))]

    def measured(self, key: Key, *, lit: str = "") -> Result | None:
        """Return the result that has a key as it was first judged, without its digest, or None.

        With `lit`, the ambient test of the key's content against that one.
        """
        with self._disk.asked() as db:
            return read.measured(db, key, lit)

    def judged(self, content: str, *, test: Literal["capture", "ambient"] = "capture") -> Judged | None:
        """Return what the current verdict of a capture, or of its ambient test, was given by, or None."""
        with self._disk.asked() as db:
            return read.judged(db, content, test)

    def digest(self, content: str) -> Digest | None:
        """Return the newest digest of a capture, or None where there is none.

        Raises
        ------
        LogError
            When it is there and cannot be read.
        """
        return digests.read(self.out, digests.name_of(content))

    def last(self) -> tuple[Result, str] | None:
        """Return the capture that was seen last, with its current verdict, and its path."""
        with self._disk.asked() as db:
            return read.last(db)

    def find(self, name_or_path: str) -> tuple[Result, str] | None:
        """Return the newest capture of a path or file name, or of a companion's, as `last` does."""
        with self._disk.asked() as db:
            return read.find(db, name_or_path)

    def capture(self, content: str) -> Logged | None:
        """Return one capture, or None."""
        with self._disk.asked() as db:
            return read.logged(db, content)

    def lately(self, content: str, names: Collection[str], most: int) -> tuple[Lately, ...]:
        """Return the last captures of the set that one belongs to (`qc.log.lately.lately`)."""
        with self._disk.asked() as db:
            return lately(db, content, names, most)

    def captures(self) -> Iterator[Logged]:
        """Yield every capture once, in the order of arrival, those that were replaced too.

        They are read one by one, so that memory stays flat; the log may be added to meanwhile.
        """
        with self._disk.asked() as db:
            every = read.contents(db)
        for content in every:
            if (logged := self.capture(content)) is not None:
                yield logged

    def entries(self, specs: Sequence[Spec] | None = None) -> Iterator[Entry]:
        """Yield every capture that is still what one of its paths holds, as the folds of `qc.series` want it.

        Parameters
        ----------
        specs : sequence of Spec or None
            The measurements; None for all of the registry.
        """
        from qc.measure import specs as all_specs
        from qc.series.make import entry_of

        chosen = all_specs() if specs is None else specs
        people = said(self.events(kinds=(*ACTS, "undone")))
        for one in self.captures():
            if one.replaced:
                continue
            entry = entry_of(
                one.result,
                order=one.order,
                light=one.light,
                specs=chosen,
                content=one.content,
                flash=rows.lit_by_flash(one.sheet_text),
            )
            yield replace(
                entry,
                **people.of(one.content),
                ambient=one.ambient.verdict if one.ambient else None,
                ambient_text=one.ambient_text,
                ambient_lit=one.ambient_lit,
            )

    def _add(self, addition: Addition, result: Result, picture: str, events: Sequence[Event]) -> tuple[Event, ...]:
        """Write the digest first, so that a log never names one that is not there; then all rows at once."""
        with self._disk.lock:
            told = self._keep_picture(addition, result, picture)
            with self._disk.writing() as db:
                changed = write.put(db, addition)
                for event in (*(events if changed else ()), *told):
                    write.put_event(db, rows.event_row(event))
            if told:
                self._pictures_lost = told[0].kind == "log_lost"
            return told

    def _keep_picture(self, addition: Addition, result: Result, picture: str) -> tuple[Event, ...]:
        if result.digest is None:
            return ()
        name = digests.name_of(picture)
        with self._disk.asked() as db:
            known = write.find_measurement(db, addition.measurement)
        if known is not None and known["digest"] == name and (self.out / name).exists():
            return ()
        try:
            digests.write(self.out, name, result.digest.to_bytes())
        except OSError as error:
            addition.measurement["digest_lost"] = cause_of(error)
            return self._picture_event("log_lost", result, cause_of(error))
        addition.measurement["digest"] = name
        return self._picture_event("log_back", result, "")

    def _picture_event(self, kind: str, result: Result, cause: str) -> tuple[Event, ...]:
        if self._pictures_lost == (kind == "log_lost"):
            return ()
        text = "pictures of captures are kept again"
        if cause:
            text = f"the picture of {printable(result.file.name)} cannot be kept: {cause}; its figures are logged"
        data = {"part": "digests", "cause": cause}
        level = Level.NOTE if cause else None
        return (Event(kind=kind, at=now(), text=text, name=result.file.name, level=level, data=data),)
