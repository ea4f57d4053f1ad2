"""What a watch says of its set sheet and of what was accepted: events, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from pathlib import Path

from qc.errors import printable
from qc.event import Event, now
from qc.intake.kept import Change, Kept
from qc.intake.shelves import Among, Looked, SheetFile
from qc.reading import Level
from qc.sheet.accepted import Acceptance
from qc.sheet.changes import changes
from qc.sheet.sheet import Sheet

Acceptances = tuple[Acceptance, ...]

SHOWN = 3
"""How many changes of a sheet a line names."""

_HOLDS = "holds from the next frame"


def of_sheet(looked: Looked, among: Among) -> Event | None:
    """Return what there is to say of a sheet after a look at it: what happened, and which sheet holds now."""
    file, change = looked.file, looked.change
    if change == "bad":
        text = f"{_sheet(file)} has mistakes, {_kept(file, among)}: {file.said()}"
        return bad_event(text, file.path, file.problems)
    if change == "gone":
        return _gone(file, among, looked.held)
    if change == "same" or file.value is None:
        return None
    if looked.was is None:
        return _good(file, "found", among)
    if what := changes(looked.was, file.value):
        return _good(file, f"changed: {_named(what)}", among, what)
    return _good(file, "is good again; nothing in it changed", among) if change == "good again" else None


def rivals_said(rivals: Sequence[SheetFile], goes_on: SheetFile | None) -> str:
    """Say that several sheets hold for the same captures, and what becomes of those."""
    every = "both" if len(rivals) == 2 else "all"
    who = f"{goes_on.name}, which held before, goes on" if goes_on is not None else "none of them is used"
    return f"{_and(rivals)} {every} hold here: {who}"


def trouble_of(file: SheetFile, among: Among) -> str | None:
    """Return why what a sheet says is not what holds, in one clause; None while nothing is wrong."""
    if among.rivals:
        return rivals_said(among.rivals, among.goes_on)
    if file.problems and among.nearer is None:
        return f"{file.name} has mistakes: {_kept(file, among)}"
    if file.gone and among.holds and among.nearer is None and among.instead is None:
        return f"{file.name} is gone: {_kept(file, among)}"
    return None


def of_acceptances_left(kept: Kept[Acceptances], file: SheetFile) -> Event:
    """Return the event that what was accepted without a sheet does not count with one."""
    count = len(kept.value or ())
    made = "1 acceptance" if count == 1 else f"{count} acceptances"
    text = (
        f"{made} made without a sheet ({kept.name}) {'is' if count == 1 else 'are'} not applied with {file.name}"
    )
    return _changed(text, kept.path, ())


REMEDY = "take one away or divide them by 'captures'"


def _good(file: SheetFile, said: str, among: Among, what: Sequence[str] = ()) -> Event:
    text = f"{_sheet(file)} {said}"
    if among.rivals:
        text += f"; but {rivals_said(among.rivals, among.goes_on)}; {REMEDY}"
        return bad_event(text, file.path, [rivals_said(among.rivals, among.goes_on)])
    if among.nearer is not None:
        text += f"; {among.nearer.name}, which lies nearer, holds"
    elif what or said == "found":
        text += f"; {_HOLDS}" + (f" in {among.inside}" if among.inside else "")
    if among.nearer is None and among.before is not None:
        text += f" in place of {among.before.name}"
    return _changed(text, file.path, what)


def _gone(file: SheetFile, among: Among, held: SheetFile | None) -> Event:
    others = among.nearer or among.instead
    if others is not None:
        when = " from the next frame" if held is file else ""
        return _changed(f"{_sheet(file)} is gone; {others.name} holds{when}", file.path, ())
    if among.rivals:
        said = rivals_said(among.rivals, among.goes_on)
        return bad_event(f"{_sheet(file)} is gone; {said}; {REMEDY}", file.path, [said])
    if file.value is None:
        return _changed(f"{_sheet(file)} is gone; it was not used", file.path, ())
    return bad_event(f"{_sheet(file)} is gone: {_kept(file, among)}", file.path, ["gone"])


def _kept(file: SheetFile, among: Among) -> str:
    """Say what becomes of a sheet that cannot be read."""
    if file.value is None:
        return "it is not used"
    if among.nearer is not None:
        return f"{among.nearer.name}, which lies nearer, holds"
    if among.rivals:
        return f"and {rivals_said(among.rivals, among.goes_on)}"
    return f"the one read at {file.read_at} holds"


def _sheet(file: SheetFile) -> str:
    return f"set sheet {file.name}"


def _and(files: Sequence[SheetFile]) -> str:
    *first, last = (file.name for file in files)
    return f"{', '.join(first)} and {last}"


def of_accepted(
    file: Kept[Acceptances], before: Acceptances | None, change: Change, standing: Set[str] | None, *, there: bool
) -> Iterator[Event]:
    """Yield what there is to say of a set's acceptances after a look at them.

    Parameters
    ----------
    file : Kept
        Of the acceptances.
    before : tuple of Acceptance or None
        What was accepted until then.
    change : str
        What the look gave.
    standing : set of str or None
        Times of the acceptances that stand in the log, where what agrees with it has been told already.
    there : bool
        Whether the output folder is there.
    """
    if change == "bad":
        text = f"{file.name} has mistakes, what was accepted before holds: {file.said()}"
        yield bad_event(text, file.path, file.problems)
    elif change == "gone" and there and before:
        yield _changed(f"{file.name} is gone: nothing is accepted any more", file.path, (), accepted=True)
    elif change in ("changed", "good again"):
        old, new = _untold(before or (), file.value or (), standing)
        if what := changes(Sheet(accepted=old), Sheet(accepted=new)):
            yield _changed(f"{_named(what)}; {_HOLDS}", file.path, what, accepted=True)


def _untold(old: Acceptances, new: Acceptances, standing: Set[str] | None) -> tuple[Acceptances, Acceptances]:
    """Leave out what came as the log has it, and what went as the log has it."""
    if standing is None:
        return old, new
    came = {one.at for one in new} - {one.at for one in old}
    went = {one.at for one in old} - {one.at for one in new}
    told = (came & standing) | (went - standing)
    return tuple(one for one in old if one.at not in told), tuple(one for one in new if one.at not in told)


def _named(what: Sequence[str]) -> str:
    more = len(what) - SHOWN
    return "; ".join(what[:SHOWN]) + (f"; and {more} more" if more > 0 else "")


def _changed(text: str, path: Path, what: Sequence[str], *, accepted: bool = False) -> Event:
    data = {"path": printable(path), "changes": list(what), "accepted": accepted}
    return Event(kind="sheet_changed", at=now(), text=text, data=data)


def bad_event(text: str, path: Path, problems: Sequence[str]) -> Event:
    """Return the event of a sheet or acceptances that cannot be used as they are."""
    data = {"path": printable(path), "problems": list(problems)}
    return Event(kind="sheet_bad", at=now(), text=text, level=Level.WARN, data=data)
