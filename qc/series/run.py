"""The folds over a day: at once (`fold`), or capture by capture as they arrive (`Day`); both say the same."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from qc.reading import Level, Spec
from qc.series import body
from qc.series.chain import Chain
from qc.series.entry import Entry, Standing
from qc.series.order import in_order, moment
from qc.series.pairs import pairs_of


def fold(entries: Iterable[Entry], *, specs: Sequence[Spec]) -> tuple[Standing, ...]:
    """Return where each capture of a day stands.

    Parameters
    ----------
    entries : iterable of Entry
        In any order; of several with the same content the last counts.
    specs : sequence of Spec
        The measurements: which way of a reading is worse.

    Returns
    -------
    tuple of Standing
        One a content, in the order taken. The same for any order of `entries`.
    """
    worse, standings = body.worse_of(specs), []
    before: body.SeenState = ()
    up: body.UpState = ()
    for entry in in_order({entry.content: entry for entry in entries}.values()):
        before, seen = body.see(before, entry)
        up, standing = body.weigh(up, seen, worse)
        standings.append(standing)
    return tuple(standings)


def says_more(before: Standing | None, now: Standing) -> bool:
    """Tell whether a standing is new or says something else than before.

    That a row of one cause has become longer or began elsewhere is no news by itself: with a cause that stands all
    day, each late capture would have all later ones told again.
    """
    return before is None or _said(before) != _said(now)


def _said(standing: Standing) -> tuple[object, ...]:
    return standing.content, standing.level, standing.causes, standing.easing, standing.data


class Day:
    """The captures of a day as they arrive; what it says always equals `fold` over all of them.

    A capture at the end costs the same however many there are; a late one costs the captures after it up to
    where it makes no difference any more.

    Parameters
    ----------
    specs : sequence of Spec
        The measurements.
    """

    def __init__(self, specs: Sequence[Spec]) -> None:
        worse = body.worse_of(specs)
        self._ordered: list[Entry] = []
        self._seen: list[body.Seen] = []
        self._see: Chain[body.SeenState, Entry, body.Seen] = Chain((), body.see)
        self._weigh: Chain[body.UpState, body.Seen, Standing] = Chain((), partial(body.weigh, worse=worse))
        self._by_content: dict[str, Entry] = {}
        self._standings: dict[str, Standing] = {}
        self._dark: set[str] = set()
        self._halts: set[str] = set()

    @property
    def entries(self) -> tuple[Entry, ...]:
        """All captures, in the order taken."""
        return tuple(self._ordered)

    @property
    def standings(self) -> tuple[Standing, ...]:
        """Where each of them stands, in the same order."""
        return tuple(self._standings[entry.content] for entry in self._ordered)

    def entry(self, content: str) -> Entry | None:
        """Return one capture; None where there is none of this content."""
        return self._by_content.get(content)

    def standing(self, content: str) -> Standing | None:
        """Return where one capture stands; None where there is none of this content."""
        return self._standings.get(content)

    def is_dark(self, content: str) -> bool:
        """Tell whether a capture is a dark frame, by declaration or by its pixels."""
        return content in self._dark

    def open_halts(self) -> list[Standing]:
        """Return what stands at halt, in the order taken; an answered cause puts nothing there."""
        return [self._standings[content] for content in sorted(self._halts, key=self._place)]

    def pairs(self) -> Mapping[str, str]:
        """Return for each dark frame the lit one it is tested against; see `qc.series.pairs.pairs_of`."""
        return pairs_of(self._ordered, self._dark) if self._dark else {}

    def put(self, entry: Entry) -> list[Standing]:
        """Add a capture, or replace the one of the same content.

        Returns
        -------
        list of Standing
            What is new or changed, in the order taken; see `says_more`.
        """
        old = self._by_content.get(entry.content)
        if old is not None and old.order == entry.order:
            return self._exchange(old, entry)
        if old is not None:
            return self._move(entry)
        low, high = self._moment(entry)
        group = in_order([*self._ordered[low:high], entry])
        self._by_content[entry.content] = entry
        return self._replace(low, high, group)

    def change(self, content: str, **fields: Any) -> list[Standing]:
        """Change some fields of a capture: purpose, answers, ambient test.

        Returns
        -------
        list of Standing
            What changed, in the order taken; see `says_more`.

        Raises
        ------
        KeyError
            When there is no capture of this content.
        """
        return self.put(replace(self._by_content[content], **fields))

    def drop(self, content: str) -> list[Standing]:
        """Take a capture out; nothing happens where there is none of this content.

        Returns
        -------
        list of Standing
            What changed for others, in the order taken; see `says_more`.
        """
        entry = self._by_content.pop(content, None)
        if entry is None:
            return []
        del self._standings[content]
        self._dark.discard(content)
        self._halts.discard(content)
        low, high = self._moment(entry)
        group = in_order(other for other in self._ordered[low:high] if other is not entry)
        return self._replace(low, high, group)

    def _move(self, entry: Entry) -> list[Standing]:
        before = dict(self._standings)
        self.drop(entry.content)
        self.put(entry)
        return [standing for standing in self.standings if says_more(before.get(standing.content), standing)]

    def _exchange(self, old: Entry, new: Entry) -> list[Standing]:
        low, high = self._moment(old)
        self._by_content[new.content] = new
        group = in_order(new if entry is old else entry for entry in self._ordered[low:high])
        # the light of a capture is not compared, so states that hold it look the same with another
        return self._replace(low, high, group, to_the_end=old.light is not new.light)

    def _moment(self, entry: Entry) -> tuple[int, int]:
        key = moment(entry)
        return bisect_left(self._ordered, key, key=moment), bisect_right(self._ordered, key, key=moment)

    def _place(self, content: str) -> int:
        """Return where a capture stands among all: a few by themselves may roll over otherwise than the day."""
        low, high = self._moment(self._by_content[content])
        return next(place for place in range(low, high) if self._ordered[place].content == content)

    def _replace(self, low: int, high: int, group: list[Entry], *, to_the_end: bool = False) -> list[Standing]:
        """Put other captures in the place of some, and fold anew from the first that is another."""
        while low < high and group and group[0] is self._ordered[low]:
            low, group = low + 1, group[1:]
        while low < high and group and group[-1] is self._ordered[high - 1]:
            high, group = high - 1, group[:-1]
        self._ordered[low:high] = group
        for chain in (self._see, self._weigh):
            chain.replace(low, high, len(group))
        seen_to = self._see.run(self._ordered, low, len(self._ordered) if to_the_end else low + len(group))
        self._seen[low : seen_to - len(group) + high - low] = [self._see.said(i) for i in range(low, seen_to)]
        end = self._weigh.run(self._seen, low, seen_to)
        return [standing for place in range(low, end) if self._note(standing := self._weigh.said(place), place)]

    def _note(self, standing: Standing, place: int) -> bool:
        content = standing.content
        (self._dark.add if self._seen[place].dark else self._dark.discard)(content)
        (self._halts.add if standing.level is Level.HALT else self._halts.discard)(content)
        before, self._standings[content] = self._standings.get(content), standing
        return says_more(before, standing)
