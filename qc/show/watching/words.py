"""A watch in words: what is said of a capture, an event, the state of the watch, and its end."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from qc.event import Event
from qc.intake.updates import Heartbeat
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.entry import Standing
from qc.show.text import clean, figures_of, time_of
from qc.show.watching.foremost import foremost_of, worst_of
from qc.words import ordinal

NAMES_TOLD = 4
"""Names at warn, or of files not measured, that the closing summary lists."""

HALTS_TOLD = 12
"""Names at halt that it lists: each of them is still to be answered."""

NO_TIME = "--:--:--"
"""Stands for the time of a capture that has none, or of which only its name is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One line to say, not laid out yet.

    Attributes
    ----------
    time : str
        ``HH:MM:SS``, or a word of at most eight signs in its place.
    name : str
        File name as the operating system gave it; empty for an event.
    level : Level or None
        With a mark and a word; None for an event that asks for no attention.
    reason : str
        What there is to say; cut where the line has no room.
    figures : tuple of str
        The figures that `reason` consists of, most important first; none where it is a sentence.
    tails : tuple of str
        What must stand after the reason and is never cut, in other words, longest first.
    quiet : bool
        Whether nothing of it is new.
    kind : str
        ``"capture"``, ``"restated"``, or the kind of the event.
    """

    time: str
    name: str = ""
    level: Level | None = None
    reason: str = ""
    figures: tuple[str, ...] = ()
    tails: tuple[str, ...] = ("",)
    quiet: bool = False
    kind: str = "capture"


def of_capture(result: Result, standing: Standing, specs: Sequence[Spec], before: Standing | None = None) -> Said:
    """Say what the day makes of a capture.

    A cause that stood in the frame before is not said in full again: its first clause and a count are enough. But
    a cause of the same level that is new goes before it.

    Parameters
    ----------
    result, standing
        Of the capture.
    specs : sequence of Spec
        The measurements.
    before : Standing or None
        Of the frame taken before it.
    """
    said = Said(time=time_of(result), name=result.file.name, level=standing.level)
    foremost = foremost_of(standing, before)
    if foremost is None:
        figures = figures_of(result, specs) if standing.level is Level.UNJUDGED else ()
        return replace(said, reason=", ".join(figures), figures=figures)
    more = f"  (+{foremost.more})" if foremost.more else ""
    if not foremost.again:
        return replace(said, reason=foremost.cause.text, tails=(more,))
    nth = f", {ordinal(standing.repeats)}"
    since = f" frame in a row since {stem(standing.first_name)}"
    tails = (f"{nth}{since}{more}", f"{nth} frame in a row{more}", f", {foremost.again}{more}", ", again")
    return replace(said, reason=clause(foremost.cause.text), tails=tails, quiet=True)


def of_restated(time: str, name: str, standing: Standing, was: Standing | None) -> Said | None:
    """Say that the day makes something else of a capture now; None when nothing that was said has changed."""
    causes, old = worst_of(standing), worst_of(was) if was is not None else []
    told = causes[0].text if causes else ""
    said = Said(time=time, name=name, level=standing.level, kind="restated")
    if was is not None and standing.level is was.level:
        before = old[0].text if old else ""
        if told == before:
            return None
        added = told.removeprefix(before).lstrip(";:, ") if before and told.startswith(before) else ""
        return replace(said, reason=added or (f"now: {told}" if told else "nothing against it now"))
    became = f"(was {was.level})" if was is not None else "(measured before this watch)"
    if not causes:  # after the word of its level this reads "clear now (was warn)"
        return replace(said, reason=f"now {became}", quiet=was is not None)
    more = f"  (+{len(causes) - 1})" if len(causes) > 1 else ""
    return replace(said, reason=told, tails=(f"  {became}{more}" if was is not None else more,))


def of_event(event: Event) -> Said:
    """Say an event."""
    return Said(time=event.at[11:19], level=event.level, reason=event.text, kind=event.kind)


def of_open(row: Sequence[tuple[str, Standing]]) -> Said:
    """Say what nobody answered; frames that stand at halt for the same cause are one line."""
    name, standing = row[0]
    causes = worst_of(standing)
    more = f"  (+{len(causes) - 1})" if len(causes) > 1 else ""
    reason = causes[0].text if causes else ""
    tails = [f"{_how_many([own for _, own in row])}{more}"]
    if len(row) > 1:
        tails += [f", {len(row)} frames{more}", f", {len(row)} frames"]
    return Said(time="open", name=name, level=standing.level, reason=reason, tails=tuple(tails), kind="open")


def _how_many(row: Sequence[Standing]) -> str:
    """Return how many frames are open, and of how many in a row where those have been counted on their lines."""
    if len(row) == 1:
        return ""
    counted = max(standing.repeats for standing in row)
    if len({standing.first_name for standing in row}) > 1 or counted < len(row):
        return f", {len(row)} frames"
    return f", {len(row)} frames in a row" if counted == len(row) else f", {len(row)} of {counted} frames in a row"


def heartbeat(beat: Heartbeat, clock: str, *, names: bool = False) -> list[str]:
    """Return how the watch stands, in pieces, what matters most first; with the names of what is arriving."""
    pieces = [f"{clock}  no frame yet"]
    if beat.last_name is not None:
        pieces = [f"{clock}  last {beat.last_name}"]
        if beat.last_age_s is not None:
            pieces = [f"{pieces[0]} {age(beat.last_age_s)} ago"]
    pieces.append(f"{beat.waiting} waiting")
    if beat.arriving:
        which = f": {' '.join(beat.arriving)}" if names else ""
        pieces.append(f"{len(beat.arriving)} arriving{which}")
    if beat.free_frames is not None:
        pieces.append(f"{thousands(beat.free_frames)} frames free")
    elif beat.free_bytes is not None:
        pieces.append(f"{beat.free_bytes / 1e9:.0f} GB free")
    return pieces


def troubles(beat: Heartbeat) -> list[tuple[Level, str]]:
    """Return in words what the watch cannot do at present, worst first."""
    told = []
    if beat.folder == "lost":
        told.append((Level.WARN, "folder lost: no frame can arrive until it is back"))
    if beat.log == "lost":
        told.append((Level.WARN, "log lost: measuring goes on, nothing is kept"))
    if beat.sheet_trouble:
        told.append((Level.WARN, beat.sheet_trouble))
    return told


def needed(beat: Heartbeat) -> str:
    """Return what the set still needs, or nothing."""
    return f"still needed: {', '.join(beat.needs)}" if beat.needs else ""


TEST = "frames without flash are the ambient test: no alarm (--test)"


def unjudged(command: str = "qc sheet draw", *, test: bool = False) -> tuple[str, str, str]:
    """Return the first screen of a watch without sheet and preset: what is judged, what is not, what to do.

    Parameters
    ----------
    command : str
        What makes a set sheet.
    test : bool
        Whether frames without flash are the ambient test by declaration: they are not judged then.
    """
    dark = "" if test else ", frames without a picture"
    return (
        f"judged: whole files{dark}, changed settings, jumps of light",
        "only shown as numbers: highlights, sharpness, colour, ambient light",
        f"to have those judged: {command} (zones on the last frame make a set sheet)",
    )


def closing(
    told: Mapping[str, tuple[str, Level]],
    out: str,
    *,
    before: Mapping[str, tuple[str, Level]] | None = None,
    open_before: Sequence[str] = (),
    lost: bool = False,
    shorten: Callable[[str], str] = clean,
) -> list[str]:
    """Return the end of a watch in three lines, or four where an earlier watch had logged captures.

    Parameters
    ----------
    told : mapping of str to (str, Level)
        File name and level of each capture of this watch, by content, in the order they were told.
    out : str
        Folder of the log.
    before : mapping of str to (str, Level)
        The same of the last captures that were logged before.
    open_before : sequence of str
        Names of open halts of captures that are not in `told`.
    lost : bool
        Whether the log could not be written in the end.
    shorten : callable
        Makes a file name fit.
    """
    lines = [f"{_frames(len(told))}{_by_level(told)}"]
    if before:
        last = "the last " if len(before) > 1 else ""
        lines.append(f"logged before this watch: {last}{_frames(len(before))}{_by_level(before)}")
    named = {level: [name for name, own in told.values() if own is level] for level in Level}
    listed = [
        ("halt", named[Level.HALT], HALTS_TOLD),
        ("halt, open from before", open_before, HALTS_TOLD),
        ("warn", named[Level.WARN], NAMES_TOLD),
        ("unmeasured", named[Level.UNMEASURED], NAMES_TOLD),
    ]
    said = [f"{what}: {_names(names, most, shorten)}" for what, names, most in listed if names]
    lines.append("; ".join(said) or "no halt, no warn")
    return [
        *lines,
        f"log: could not be written in {out}, what is missing there is lost" if lost else f"log: {out}",
    ]


def _frames(count: int) -> str:
    return "1 frame" if count == 1 else f"{thousands(count)} frames"


def _by_level(told: Mapping[str, tuple[str, Level]]) -> str:
    counts = Counter(level for _, level in told.values())
    by_level = ", ".join(f"{counts[level]} {level}" for level in Level if counts[level])
    return f": {by_level}" if by_level else ""


def clause(text: str) -> str:
    """Return the first clause of a cause: enough to know it again.

    A place before it belongs to it: "seal: sharpness not read" of "seal: sharpness not read: no isolated edges".
    """
    place, *said = opening(text).split(": ")
    return f"{place}: {said[0]}" if len(said) > 1 else place


def opening(text: str) -> str:
    """Return a cause as far as it says one thing: "settings changed since SB_0017.dng: aperture f/8 was f/11"."""
    return re.split(r"; |, | \(", text, maxsplit=1)[0]


def stem(name: str) -> str:
    """Return a file name without its suffix."""
    return Path(name).stem


def age(seconds: float) -> str:
    """Return an age as it is spoken: "14 s", "3 min", "2 h 05 min"."""
    whole = max(int(seconds), 0)
    if whole < 60:
        return f"{whole} s"
    minutes = whole // 60
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02} min"


def thousands(number: int) -> str:
    """Return a whole number in groups of three."""
    return f"{number:,}".replace(",", " ")


def _names(names: Sequence[str], most: int, shorten: Callable[[str], str]) -> str:
    more = len(names) - most
    return ", ".join(map(shorten, names[:most])) + (f" and {more} more" if more > 0 else "")
