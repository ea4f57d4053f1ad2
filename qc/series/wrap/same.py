"""The same content under several names, and one name for several contents."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from pathlib import PurePath
from typing import TYPE_CHECKING

from qc.errors import printable
from qc.reading import Level
from qc.series.wrap.counter import counter_of
from qc.series.wrap.findings import CONTENT_AGAIN, CONTENT_COPIED, NAME_REPLACED, NAME_TWICE, finding
from qc.words import counted

if TYPE_CHECKING:
    from qc.day import Day, DayFinding, Taken
    from qc.log.rows import Logged


def same_content(day: Day) -> Iterator[DayFinding]:
    """Yield where one content lies under several paths.

    A file that was renamed is not: its old path holds nothing any more. Copies of one name in the same folders are
    told together.
    """
    renamed = _renamed(day)
    copied: dict[tuple[str, ...], list[Taken]] = defaultdict(list)
    for taken in day.captures:
        paths = [PurePath(path) for path in _held(taken, renamed)]
        names = sorted({path.name for path in paths}, key=_frames_first)
        folders = tuple(sorted({str(path.parent) for path in paths}))
        if len(names) > 1:
            yield _under_names(taken, names)
        elif len(folders) > 1:
            copied[folders].append(taken)
    for folders, captures in sorted(copied.items()):
        which = _which(captures)
        lie = "lies" if len(captures) == 1 else "lie"
        text = f"{which} {lie} in {_folders(folders)} with the same content"
        contents = [taken.entry.content for taken in captures]
        yield finding(CONTENT_COPIED, Level.NOTE, text, contents, folders=list(folders))


def same_name(day: Day) -> Iterator[DayFinding]:
    """Yield where one name has had, or has in several folders, different contents."""
    yield from _replaced(day)
    owners: dict[str, list[tuple[str, Taken]]] = defaultdict(list)
    renamed = _renamed(day)
    for taken in day.captures:
        for path in sorted(_held(taken, renamed)):
            owners[PurePath(path).name.casefold()].append((str(PurePath(path).parent), taken))
    groups: dict[tuple[str, ...], list[list[Taken]]] = defaultdict(list)
    for found in owners.values():
        contents = {taken.entry.content: taken for _, taken in found}
        folders = tuple(sorted({folder for folder, _ in found}))
        if len(contents) > 1 and len(folders) > 1:
            groups[folders].append(list(contents.values()))
    for folders, names in sorted(groups.items()):
        firsts = [captures[0] for captures in names]
        stand = f"{_which(firsts)} {'stands' if len(names) == 1 else 'stand'} for different captures"
        text = f"{stand} in {_folders(folders)}: in one folder they would replace each other"
        contents_of = [taken.entry.content for captures in names for taken in captures]
        yield finding(NAME_TWICE, Level.NOTE, text, contents_of, folders=list(folders))


def _under_names(taken: Taken, names: list[str]) -> DayFinding:
    counters = [counter for counter in map(counter_of, names) if counter is not None and not counter.copy]
    numbers = {counter.number for counter in counters}
    one_sequence = len({counter.key for counter in counters}) == 1
    first, *others = [printable(name) for name in names]
    text = f"{_listed(others)} {'is' if len(others) == 1 else 'are'} {first} once more"
    data = {"names": [printable(name) for name in names]}
    if one_sequence and len(numbers) > 1:
        said = f"{text}: the picture of one of these numbers may never have come"
        return finding(CONTENT_AGAIN, Level.WARN, said, [taken.entry.content], **data)
    return finding(CONTENT_COPIED, Level.NOTE, text, [taken.entry.content], **data)


def _replaced(day: Day) -> Iterator[DayFinding]:
    holders = {path: taken for taken in day.captures for path in (taken.logged.path, *taken.logged.held)}
    for old in sorted(day.replaced, key=lambda one: (one.order, one.content)):
        now = next((holders[path] for path in old.paths if path in holders), None)
        if now is None or old.result.file.state != "whole" or _same_shot(old, now.logged):
            continue
        name, came = printable(now.entry.name), old.arrived_at[11:19]
        text = f"{name} was written twice: no file holds the picture any more that came first, at {came}"
        yield finding(NAME_REPLACED, Level.WARN, text, [now.entry.content], replaced=old.content)


def _same_shot(one: Logged, other: Logged) -> bool:
    """Tell whether only what stands in the file beside the picture was written anew, such as a rating."""
    times = [logged.result.camera.settings.taken for logged in (one, other)]
    return times[0] is not None and times[0] == times[1]


def _renamed(day: Day) -> set[tuple[str, str]]:
    """Return content and old path of the files that were renamed."""
    told = [event for _, event in day.events if event.kind == "duplicate" and event.data.get("renamed")]
    return {(event.content or "", event.data["of"]) for event in told}


def _held(taken: Taken, renamed: set[tuple[str, str]]) -> list[str]:
    logged = taken.logged
    return [path for path in logged.held or (logged.path,) if (logged.content, path) not in renamed]


def _frames_first(name: str) -> tuple[bool, str]:
    counter = counter_of(name)
    return counter is None or counter.copy, name


def _which(captures: list[Taken]) -> str:
    names = [printable(taken.entry.name) for taken in captures]
    return names[0] if len(names) == 1 else f"{counted(len(names), 'name')} ({names[0]} to {names[-1]})"


def _folders(folders: Iterable[str]) -> str:
    return _listed(["the day's folder" if folder == "." else printable(folder) for folder in folders])


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]
