"""What a watch says of its set sheet and of what was accepted: events, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from pathlib import Path

from qc.errors import printable
from qc.event import Event, now
from qc.intake.kept import Change, Kept
from qc.reading import Level
from qc.sheet.accepted import Acceptance
from qc.sheet.changes import changes
from qc.sheet.sheet import Sheet

Acceptances = tuple[Acceptance, ...]

SHOWN = 3
"""How many changes of a sheet a line names."""

_HOLDS = "holds from the next frame"


def of_sheet(file: Kept[Sheet], before: Sheet | None, change: Change) -> Iterator[Event]:
    """Yield what there is to say of a sheet after a look at it; `before` is what it said until then."""
    known = file.value is not None
    if change == "bad":
        holds = "the last good one holds" if known else "it is not used"
        yield bad_event(f"set sheet {file.name} has mistakes, {holds}: {file.said()}", file.path, file.problems)
    elif change == "gone":
        yield bad_event(f"set sheet {file.name} is gone: the last good one holds", file.path, ["gone"])
    elif change in ("changed", "good again") and file.value is not None:
        if before is None:
            yield _changed(f"set sheet {file.name} found; {_HOLDS}", file.path, ())
        elif what := changes(before, file.value):
            yield _changed(f"set sheet {file.name} changed: {_named(what)}; {_HOLDS}", file.path, what)
        elif change == "good again":
            yield _changed(f"set sheet {file.name} is good again; nothing in it changed", file.path, ())


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
