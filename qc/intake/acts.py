"""What a person did, as an event in the words of the set."""

from __future__ import annotations

from qc.errors import printable
from qc.event import Event, now
from qc.log.rows import Logged
from qc.reading import ReadingSpec
from qc.result import Cause
from qc.series.entry import Purpose
from qc.sheet.accepted import Acceptance, spoken_bar

HOLDS = "holds for it and what follows"

_ROLES = {
    Purpose.DARK: "is a dark frame",
    Purpose.PATCH: "is a patch frame",
    Purpose.CLEAN_PLATE: "is a clean plate",
    Purpose.LEAVE_OUT: "is left out",
    Purpose.BASELINE: "is the baseline",
}


def accepted(capture: Logged, acceptance: Acceptance, spec: ReadingSpec, file: str) -> Event:
    """Return the event of a limit that was raised; `file` is the name of what keeps it."""
    was = f" (was {acceptance.was:g})" if acceptance.was is not None else ""
    data = {key: getattr(acceptance, key) for key in ("reading", "zone", "value", "bar", "was")}
    return Event(
        kind="accepted",
        at=acceptance.at,
        text=f"accepted: {spoken_bar(acceptance, spec)}{was}, from {acceptance.capture}; {HOLDS}",
        name=capture.result.file.name,
        content=capture.content,
        data=data | {"file": file},
    )


def answered(capture: Logged, cause: Cause, *, why: str = "", intended: bool = False) -> Event:
    """Return the event of an alarm that was answered for its capture: seen, or what was intended there."""
    file = capture.result.file.name
    return Event(
        kind="answered",
        at=now(),
        text=f"answered: {cause.text}, for {printable(file)} only{why}",
        name=file,
        content=capture.content,
        data={"reading": cause.reading, "zone": cause.zone} | ({"intended": True} if intended else {}),
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
