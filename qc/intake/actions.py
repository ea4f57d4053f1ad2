"""What a person says of a capture while the shooting goes on: accept, answer, give a role, take back.

Without a name the last capture is meant, without a cause its first. Everything is an event in the log, which a
running watch hears; an acceptance also stands in ``NAME.accepted.toml`` and holds from the next frame. The
commands and the terminal's menu call the same functions.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from qc.errors import LogError, UsageError, printable
from qc.event import Event, now
from qc.intake import acts
from qc.intake.filing import acceptance_of, alone, file_text, finish, keep
from qc.intake.intent import Intent
from qc.intake.raising import raised
from qc.log.log import Log
from qc.log.rows import Logged
from qc.log.said import ACTS, said
from qc.reading import Level, ReadingSpec
from qc.result import Cause
from qc.series.alarms import place_of
from qc.series.entry import Purpose, Standing
from qc.series.run import fold
from qc.sheet.accepted import Acceptance, bar_for
from qc.sheet.accepted_file import with_accepted, without_accepted
from qc.sheet.checks import FRAME, near
from qc.sheet.limits import Limit, resolve

ALARMS = frozenset({Level.NOTE, Level.WARN, Level.HALT})


@dataclass(frozen=True, slots=True, kw_only=True)
class Which:
    """Which alarm of a capture is meant, where it is not the first.

    Attributes
    ----------
    reading : str or None
        Catalogue name of a reading, or code of a finding; None for any.
    zone : str or None
        Name of the zone, ``"frame"`` for the whole picture; None for any.
    """

    reading: str | None = None
    zone: str | None = None


def accept(
    out: Path,
    *,
    folder: Path,
    sheet: Path | None = None,
    preset: str | None = None,
    name: str | None = None,
    content: str | None = None,
    cause: Cause | Which | None = None,
) -> Event:
    """Accept what a capture shows as intended.

    The limit of that reading at that place is raised to the value and a margin, for this set. A cause that has no
    limit to raise is answered for this capture only, and the event says so; so is one whose value the limits in
    force allow already, since an earlier acceptance or a change of the sheet: an acceptance never lowers a limit.

    Parameters
    ----------
    out : Path
        Output folder of the watch.
    folder : Path
        The watched folder.
    sheet, preset
        As the watch was started with; as the log says it was when both are None.
    name : str or None
        File name or path of the capture; the last one when None.
    content : str or None
        What it is known by; goes before `name`.
    cause : Cause, Which or None
        The alarm as the watch told it, or which; the capture's first when None.

    Returns
    -------
    Event
        ``accepted``, or ``answered``.

    Raises
    ------
    UsageError
        When there is no such capture, it has no such alarm, or the file cannot be written.
    LogError
        When the log cannot be read or written.
    SheetError
        When the set sheet or what was accepted before has mistakes.
    """
    with _log(out) as log:
        capture = _capture(log, name, content)
        chosen = cause if isinstance(cause, Cause) else _alarm(log, capture, cause or Which())
        spec = _spec(chosen)
        value = _value(capture, chosen) if spec is not None else None  # a code is no reading
        if spec is None or value is None:
            return _said(log, acts.answered(capture, chosen, why=": it has no limit that could be raised"))
        intent = _intent(log, folder, sheet, preset)
        asked = Acceptance(
            reading=chosen.reading,
            zone=chosen.zone,
            value=value,
            bar=bar_for(value, spec),
            was=chosen.limit,
            capture=printable(capture.result.file.name),
            content=capture.content,
            at=now(),
        )
        acceptance = raised(_limit(intent, folder / capture.path, chosen), asked, spec)
        if isinstance(acceptance, str):
            return _said(log, acts.answered(capture, chosen, why=f"; {acceptance}", intended=True))
        path = intent.accepted_path(folder / capture.path)
        event = acts.accepted(capture, acceptance, spec, path.name)
        keep(log, event, path, with_accepted(file_text(path), acceptance))
        return event


def can_widen(cause: Cause) -> bool:
    """Tell whether a cause has a limit that `accept` can raise; others it answers for their capture only."""
    return _spec(cause) is not None


def answer(
    out: Path, *, name: str | None = None, content: str | None = None, cause: Cause | Which | None = None
) -> Event:
    """Answer an alarm of one capture without changing a limit: it does not stand against that capture any more.

    Parameters, and what is raised, are those of `accept`.
    """
    with _log(out) as log:
        capture = _capture(log, name, content)
        chosen = cause if isinstance(cause, Cause) else _alarm(log, capture, cause or Which())
        return _said(log, acts.answered(capture, chosen))


def give(out: Path, purpose: Purpose | str, *, name: str | None = None, content: str | None = None) -> Event:
    """Give a capture a role.

    Parameters
    ----------
    out, name, content
        As for `accept`.
    purpose : Purpose or str
        What the frame is for.

    Returns
    -------
    Event
        ``role``; of a baseline it names the file, as the set sheet's ``baseline`` would.

    Raises
    ------
    UsageError
        For a role that does not exist, or when there is no such capture.
    LogError
        When the log cannot be read or written.
    """
    role = _purpose(purpose)
    with _log(out) as log:
        capture = _capture(log, name, content)
        return _said(log, acts.role(capture, role))


def undo(out: Path) -> Event:
    """Take back the last acceptance, role or answer that was not taken back yet.

    Returns
    -------
    Event
        ``undone``.

    Raises
    ------
    UsageError
        When there is nothing to take back.
    LogError, SheetError
        As `accept`.
    """
    with _log(out) as log:
        said_so_far = said(log.events(kinds=(*ACTS, "undone"))).acts
        if not said_so_far:
            raise UsageError(f"{printable(out)}: nothing was accepted, answered or given a role: nothing to undo")
        number, act = said_so_far[-1]
        event = acts.undone(number, act)
        if act.kind != "accepted":
            return _said(log, event)
        path = out / str(act.data["file"])
        keep(log, event, path, without_accepted(file_text(path), acceptance_of(act)))
        return event


@contextmanager
def _log(out: Path) -> Iterator[Log]:
    with alone(out), Log.open(out, create=False) as log:
        finish(log)
        yield log


def _said(log: Log, event: Event) -> Event:
    log.event(event)
    return event


def _intent(log: Log, folder: Path, sheet: Path | None, preset: str | None) -> Intent:
    """Return the intent of a watch: by what it was last started with, unless sheet or preset are named."""
    if sheet is None and preset is None:
        for _, event in log.events(kinds=("started",))[-1:]:
            named, preset = event.data.get("sheet"), event.data.get("preset")
            sheet = Path(named) if named else None
    return Intent(folder, log.out, sheet=sheet, preset=preset)


# which capture, which alarm


def _capture(log: Log, name: str | None, content: str | None) -> Logged:
    if content is None:
        content = _content(log, name)
    capture = log.capture(content)
    if capture is None:
        raise LogError(log.path, f"holds no capture {content}")
    return capture


def _content(log: Log, name: str | None) -> str:
    found = log.last() if name is None else log.find(os.path.abspath(name)) or log.find(name)  # noqa: PTH100 - as named
    if found is None and name is None:
        raise UsageError(f"{printable(log.out)}: no capture was measured yet")
    if found is None:
        raise UsageError(f"{printable(str(name))}: not in the log of {printable(log.out)}")
    result, path = found
    return result.file.content or log.known(path)[-1][1]


def _alarm(log: Log, capture: Logged, which: Which) -> Cause:
    """Return the alarm of a capture that is meant, as the day has it: the series' and those not yet answered."""
    from qc.measure import specs

    standings = fold(log.entries(specs()), specs=specs())
    causes = [cause for s in standings if s.content == capture.content for cause in _open(s)]
    name = printable(capture.result.file.name)
    if not causes:
        raise UsageError(f"{name}: no alarm that waits for an answer")
    zone = None if which.zone == FRAME else which.zone
    for cause in causes:
        if which.reading in (None, cause.reading) and (which.zone is None or zone == cause.zone):
            return cause
    raise UsageError(f"{name}: {_wanted(which, causes)}; its alarms: {'; '.join(map(_shown, causes))}")


def _open(standing: Standing) -> list[Cause]:
    """Return what waits for an answer."""
    causes = [cause for cause in standing.causes if cause.level in ALARMS]
    return [cause for cause in causes if place_of(cause) not in standing.answered]


def _wanted(which: Which, causes: Sequence[Cause]) -> str:
    wanted = f"no alarm on {which.reading}" if which.reading else "no alarm"
    if which.zone is not None:
        wanted += f" in zone {which.zone}"
    return wanted + (near(which.reading, {cause.reading for cause in causes}) if which.reading else "")


def _shown(cause: Cause) -> str:
    return f"{cause.text} ({cause.reading}{', ' + cause.zone if cause.zone else ''})"


def _spec(cause: Cause) -> ReadingSpec | None:
    """Return the reading behind a cause with a limit of the sheet or a preset; None for every other cause."""
    from qc.measure import specs

    if cause.limit is None:
        return None
    return next((r for spec in specs() for r in spec.readings if r.name == cause.reading and r.worse), None)


def _value(capture: Logged, cause: Cause) -> float | None:
    for result in (capture.result, capture.ambient):
        reading = result.reading(cause.reading, cause.zone) if result is not None else None
        if reading is not None and reading.value is not None:
            return reading.value
    return None


def _limit(intent: Intent, place: Path, cause: Cause) -> Limit | None:
    """Return what is in force now where a cause is; the capture may have been judged by other limits."""
    from qc.measure import specs

    return resolve(specs(), intent.for_capture(place), intent.preset).get((cause.reading, cause.zone))


def _purpose(purpose: Purpose | str) -> Purpose:
    try:
        return Purpose(purpose)
    except ValueError:
        known = ", ".join(Purpose)
        raise UsageError(
            f"no role is called {purpose!r}: there are {known}{near(purpose, list(Purpose))}"
        ) from None
