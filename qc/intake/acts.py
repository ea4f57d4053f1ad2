"""What a person did, as an event in the words of the set."""

from __future__ import annotations

from qc.errors import printable
from qc.event import Event, now
from qc.log.rows import Logged
from qc.reading import ReadingSpec
from qc.result import Cause
from qc.series.entry import Purpose
from qc.sheet.accepted import Acceptance
from qc.sheet.checks import FRAME
from qc.words import spoken_number

HOLDS = "holds from the next frame"

_ROLES = {
    Purpose.DARK: "is a dark frame",
    Purpose.PATCH: "is a patch frame",
    Purpose.CLEAN_PLATE: "is a clean plate",
    Purpose.LEAVE_OUT: "is left out",
    Purpose.BASELINE: "is the baseline",
}


def accepted(capture: Logged, acceptance: Acceptance, spec: ReadingSpec, file: str) -> Event:
    """Return the event of a limit that was raised; `file` is the name of what keeps it."""
    number = spoken_number(acceptance.bar, spec.decimals)
    phrase = spec.phrase_below if spec.phrase_below and acceptance.value < 0 else spec.phrase
    said = phrase.format(
        value=f"{'down' if spec.worse == 'low' else 'up'} to {number}", zone=acceptance.zone or FRAME
    )
    if acceptance.zone is not None and "{zone}" not in phrase:
        said = f"{acceptance.zone} {said}"
    both = " either way" if spec.worse == "either" else ""
    was = f" (was {acceptance.was:g})" if acceptance.was is not None else ""
    data = {key: getattr(acceptance, key) for key in ("reading", "zone", "value", "bar", "was")}
    return Event(
        kind="accepted",
        at=acceptance.at,
        text=f"accepted: {said}{both}{was}, from {acceptance.capture}; {HOLDS}",
        name=capture.result.file.name,
        content=capture.content,
        data=data | {"file": file},
    )


def answered(capture: Logged, cause: Cause, *, why: str = "") -> Event:
    """Return the event of an alarm that was answered for its capture."""
    file = capture.result.file.name
    return Event(
        kind="answered",
        at=now(),
        text=f"answered: {cause.text}, for {printable(file)} only{why}",
        name=file,
        content=capture.content,
        data={"reading": cause.reading, "zone": cause.zone},
    )


def role(capture: Logged, purpose: Purpose) -> Event:
    """Return the event of a role that was given."""
    file = capture.result.file.name
    return Event(
        kind="role",
        at=now(),
        text=f"role: {printable(file)} {_ROLES[purpose]}",
        name=file,
        content=capture.content,
        data={"purpose": purpose.value, "capture": file},
    )


def undone(number: int, act: Event) -> Event:
    """Return the event that takes an act back, which has `number` in the log."""
    what = act.text.partition(": ")[2].partition("; ")[0]
    return Event(
        kind="undone",
        at=now(),
        text=f"undone: {what}" + (f"; {HOLDS}" if act.kind == "accepted" else ""),
        name=act.name,
        content=act.content,
        data={"of": number, "kind": act.kind},
    )
