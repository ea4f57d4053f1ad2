"""What `qc.intake.actions.accept` would do for an alarm, said before it is done."""

from __future__ import annotations

from pathlib import Path

from qc.errors import QcError
from qc.event import now
from qc.intake.intent import Intent
from qc.intake.raising import raised
from qc.log.log import Log
from qc.result import Cause
from qc.sheet.accepted import Acceptance, bar_for, spoken_bar
from qc.sheet.limits import resolve


def offer(
    out: Path, *, folder: Path, sheet: Path | None, preset: str | None, content: str, cause: Cause
) -> str | None:
    """Say up to where a cause would be accepted.

    Parameters
    ----------
    out, folder, sheet, preset, content
        As for `qc.intake.actions.accept`.
    cause : Cause
        The alarm as the watch told it.

    Returns
    -------
    str or None
        "accept label burnt up to 3.05 %"; "for this frame only: no limit changes" where none would. None where it
        cannot be known just now: the log or the sheet cannot be read, two sheets hold; accepting itself will tell.
    """
    from qc.measure import specs

    spec = next((r for one in specs() for r in one.readings if r.name == cause.reading and r.worse), None)
    try:
        with Log.open(out, create=False, read_only=True) as log:
            capture = log.capture(content)
        if spec is None or capture is None:
            return None
        limits = resolve(
            specs(), Intent(folder, out, sheet=sheet, preset=preset).for_capture(folder / capture.path), preset
        )
    except QcError:  # only said beforehand: what cannot be done is told when it is tried
        return None
    results = (capture.result, capture.ambient)
    found = [one.reading(cause.reading, cause.zone) for one in results if one is not None]
    value = next((one.value for one in found if one is not None and one.value is not None), None)
    if value is None:
        return None
    asked = Acceptance(
        reading=cause.reading, zone=cause.zone, value=value, bar=bar_for(value, spec), capture="", at=now()
    )
    acceptance = raised(limits.get((cause.reading, cause.zone)), asked, spec)
    if isinstance(acceptance, str):
        return "for this frame only: no limit changes"
    return f"accept {spoken_bar(acceptance, spec)}"
