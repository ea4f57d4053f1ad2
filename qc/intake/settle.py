"""`Settle`: when is a file complete? A pure state machine: no clock, no disk, no thread.

Events of a file system come when writing starts, and no time of quiet alone tells when it ended: tried against
real writers, 0.5 s of unchanged size and time is fooled by one that stalls for 2.5 s half way and by one that
reserves its space and begins to fill it 1.2 s later; 2 s is still fooled by the stall. What was never fooled there
is the kernel's word that nobody has the file open for writing. So a file is measured when it has been quiet for
a short time *and* nobody writes to it; where the kernel cannot say, the attempt is allowed all the same, since the
container check refuses a file that is not all there, and its result is held until the file was quiet for longer.

How it is driven, every time with one clock that never goes back::

    for path, stamp in listing:          settle.seen(now, path, stamp)
    for path in no longer listed:        settle.gone(now, path)
    for path in settle.asks(now):        word, stamp = peek(path)
                                         settle.seen(now, path, stamp)        # or gone
                                         settle.writer(now, path, word)
    for due in settle.due():             measure it, at once or when its turn comes
    after measuring:                     settle.measured(now, path, before, after, state) -> accepted?
    for release in settle.released():    its last result is accepted now
    for path in settle.tell(now):        say once that it is arriving
    sleep until settle.next_time() or a new listing
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from qc.intake.updates import Stamp
from qc.result import State

Word = Literal["none", "some", "unknown"]
"""What is known of who has a file open for writing (`qc.intake.writer`)."""

INCOMPLETE = frozenset({"truncated", "empty", "damaged", "unreadable", "arriving"})
"""States that a file may have while it is being written: cut, no bytes yet, holes not yet filled, its head not
yet there, locked by its writer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """The times of the machine, seconds. Every one is our own choice; the reasons stand beside them.

    Attributes
    ----------
    quiet_s : float
        Unchanged for so long before it is looked at: a program that writes in pieces, closing the file after
        each, pauses for less, and the first verdict is wanted within 2 s.
    unsure_s : float
        Unchanged for so long before a result counts when nobody can say who writes.
    patience_s : float
        Unchanged for so long before an incomplete file is final: far above the longest stall tried (2.5 s).
    arriving_s : float
        Not complete for so long before people are told: as long as a large file takes over a slow cable.
    backoff_s : tuple of float
        Between attempts at an incomplete file that does not change: its content may come without a trace in
        size and time (written through memory). The last one repeats.
    held_s : tuple of float
        Between questions whether its writer still holds it; the last one repeats.
    """

    quiet_s: float = 0.4
    unsure_s: float = 1.0
    patience_s: float = 20.0
    arriving_s: float = 3.0
    backoff_s: tuple[float, ...] = (1.0, 2.0, 4.0, 8.0)
    held_s: tuple[float, ...] = (0.1, 0.1, 0.2, 0.2, 0.4, 1.0)


LOCAL = Pace()
NETWORK = Pace(quiet_s=1.0, unsure_s=2.0, patience_s=60.0)
"""Over a network size and time lag behind, since clients keep them for a second or more, and a stall is longer."""


class Due(NamedTuple):
    """A file to be measured now."""

    path: str
    stamp: Stamp
    since: float
    """When this content was first seen, in the machine's clock."""


class Release(NamedTuple):
    """A file whose last result is accepted, later than when it was fed."""

    path: str
    stamp: Stamp
    left: bool
    """True: it stayed incomplete and nothing writes to it. False: it was complete, and has now been quiet for
    long enough without the kernel's word."""


_Phase = Literal["young", "ready", "out", "held"]
"""Not complete; complete and not handed out; handed out for measuring; measured and held for a while."""


@dataclass(slots=True)
class _File:
    stamp: Stamp
    since: float
    changed: float
    seen: float
    ask_at: float
    phase: _Phase = "young"
    word: Word = "unknown"
    tries: int = 0
    """Attempts at this stamp that found it incomplete."""
    busy: float = float("-inf")
    """When a writer was last known to hold it."""
    held: int = 0
    """Times in a row that a writer held it."""
    told: bool = False


@dataclass(slots=True)
class Settle:
    """Every file that is not accepted yet, and the stamp of every one that is.

    Attributes
    ----------
    pace : Pace
        Its times; `LOCAL` or `NETWORK`.
    """

    pace: Pace = LOCAL
    _open: dict[str, _File] = field(default_factory=dict)
    _accepted: dict[str, Stamp] = field(default_factory=dict)
    _ready: dict[str, None] = field(default_factory=dict)
    _released: list[Release] = field(default_factory=list)

    # -- what is fed

    def know(self, path: str, stamp: Stamp) -> None:
        """Take a file for accepted: it was measured before this watch began."""
        self._accepted[path] = stamp

    def seen(self, time: float, path: str, stamp: Stamp) -> None:
        """Note that a file stands in the folder with this stamp."""
        file = self._open.get(path)
        if self._accepted.get(path) == stamp:  # nothing new, or what was there before has come back
            self.gone(time, path)
        elif file is None:
            self._open[path] = _File(stamp, time, time, time, time + self.pace.quiet_s)
        elif file.stamp != stamp:
            self._ready.pop(path, None)
            told = file.told
            self._open[path] = _File(stamp, file.since, time, time, time + self.pace.quiet_s, told=told)
        else:
            file.seen = time

    def gone(self, time: float, path: str) -> bool:
        """Note that a file is not there any more; True when it had not been accepted."""
        del time
        self._ready.pop(path, None)
        return self._open.pop(path, None) is not None

    def writer(self, time: float, path: str, word: Word) -> None:
        """Note who has a file open for writing; fed after `seen`, and asked of the system before it."""
        file = self._open.get(path)
        if file is None or file.phase in ("ready", "out") or time < file.ask_at:
            return
        file.word = word
        if word == "some":
            file.ask_at = time + _step(self.pace.held_s, file.held)
            file.held += 1
            file.busy, file.phase = time, "young"
        elif file.seen < file.changed + self.pace.quiet_s:
            file.ask_at = file.changed + self.pace.quiet_s
        else:
            self._settled(path, file)

    def measured(
        self, time: float, path: str, before: Stamp, after: Stamp | None, state: State, *, final: bool = False
    ) -> bool:
        """Note how an attempt ended.

        Parameters
        ----------
        time : float
            Now.
        path : str
            The file.
        before, after : Stamp
            The stamp it was handed out with, and the one it has now; None when it is gone.
        state : State
            What the attempt found it to be.
        final : bool
            Whether another attempt at the same content would end alike and cost much: its worker crashed over
            it or was stopped.

        Returns
        -------
        bool
            True when the result is accepted: tell it. Otherwise keep it until `released` names the file, or
            until the next attempt at it replaces it; an attempt that was not `wanted` any more before this call
            is not kept.
        """
        if after is None:
            self.gone(time, path)
        elif path in self._open:  # an old result is no news of a file that went meanwhile: the next listing is
            self.seen(time, path, after)
        file = self._open.get(path)
        if file is None or file.phase != "out":
            return False
        if before != file.stamp or state == "vanished":  # something else was measured than what stands there
            file.phase, file.ask_at = "young", time + self.pace.quiet_s
        elif state in INCOMPLETE and not final:
            again_at = time + _step(self.pace.backoff_s, file.tries)
            file.phase, file.ask_at = "young", max(time, min(again_at, self._final_at(file)))
            file.tries += 1
        elif file.word == "none" or time >= file.changed + self.pace.unsure_s:
            self._accept(path, file)
            return True
        else:
            file.phase, file.ask_at = "held", file.changed + self.pace.unsure_s
        return False

    # -- what is told

    def asks(self, time: float) -> list[str]:
        """Return the files to look at now: for each feed `seen` and `writer`, or `gone`."""
        return [path for path, file in self._open.items() if _asking(file) and file.ask_at <= time]

    def due(self) -> list[Due]:
        """Return what became ready to be measured, each once until it changes or its attempt has ended."""
        found = [Due(path, self._open[path].stamp, self._open[path].since) for path in self._ready]
        for path in self._ready:
            self._open[path].phase = "out"
        self._ready.clear()
        return found

    def wanted(self, path: str, stamp: Stamp) -> bool:
        """Tell whether what was due is still to be measured, when its turn comes."""
        file = self._open.get(path)
        return file is not None and file.phase == "out" and file.stamp == stamp

    def released(self) -> list[Release]:
        """Return the files whose last result is accepted since this was asked last."""
        found, self._released = self._released, []
        return found

    def tell(self, time: float) -> list[str]:
        """Return the files that people should now be told are arriving; each once for one content."""
        found = [path for path, file in self._open.items() if self._telling(file) <= time]
        for path in found:
            self._open[path].told = True
        return found

    def next_time(self) -> float | None:
        """Return when `asks` or `tell` will next have something; None when only news can change anything."""
        times = [file.ask_at for file in self._open.values() if _asking(file)]
        times += [at for file in self._open.values() if (at := self._telling(file)) < _NEVER]
        return min(times, default=None)

    @property
    def arriving(self) -> tuple[str, ...]:
        """Files that were told to be arriving and are not accepted yet, in the order in which they came."""
        return tuple(path for path, file in self._open.items() if file.told and file.phase != "out")

    # -- within

    def _settled(self, path: str, file: _File) -> None:
        """Decide what follows when a file is quiet and nobody is known to write to it."""
        if file.phase == "held" and (file.word == "none" or file.seen >= file.changed + self.pace.unsure_s):
            self._release(path, file, left=False)
        elif file.phase == "held":
            file.ask_at = file.changed + self.pace.unsure_s
        elif file.tries and file.seen >= self._final_at(file):
            self._release(path, file, left=True)
        else:
            file.phase = "ready"
            file.held = 0
            self._ready[path] = None

    def _final_at(self, file: _File) -> float:
        return max(file.changed, file.busy) + self.pace.patience_s

    def _release(self, path: str, file: _File, *, left: bool) -> None:
        self._released.append(Release(path, file.stamp, left))
        self._accept(path, file)

    def _accept(self, path: str, file: _File) -> None:
        self._accepted[path] = file.stamp
        del self._open[path]

    def _telling(self, file: _File) -> float:
        waits = file.phase == "young" or (file.phase == "out" and file.tries > 0)
        return file.since + self.pace.arriving_s if waits and not file.told else _NEVER


_NEVER = float("inf")


def _asking(file: _File) -> bool:
    return file.phase in ("young", "held")


def _step(steps: tuple[float, ...], at: int) -> float:
    return steps[min(at, len(steps) - 1)]
