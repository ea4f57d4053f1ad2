"""A report made again from a log and its digests alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from qc.day import DayFinding, read_day
from qc.errors import UsageError, printable
from qc.log.log import Log
from qc.reading import Level
from qc.series.wrap import sheets_of, wrap
from qc.show.report.writing import write_report


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A report that was made.

    Attributes
    ----------
    index : Path
        The page.
    levels : mapping of Level to int
        How many frames stand at each.
    findings : mapping of Level to int
        How many findings about the day have each.
    told : tuple of DayFinding
        Those findings, worst first.
    """

    index: Path
    levels: Mapping[Level, int]
    findings: Mapping[Level, int]
    told: tuple[DayFinding, ...] = ()

    @property
    def at_halt(self) -> bool:
        """Whether a frame, or the day, stands at halt."""
        return bool(self.levels.get(Level.HALT) or self.findings.get(Level.HALT))


def report_again(out: Path) -> Made:
    """Make the report of an output folder and the hand-off files beside it.

    Parameters
    ----------
    out : Path
        Output folder of a watch or a batch.

    Returns
    -------
    Made

    Raises
    ------
    UsageError
        When nothing was ever logged there, or the report cannot be written.
    LogError
        When there is no log, or it cannot be read.
    """
    from qc.measure import specs as all_specs

    specs = all_specs()
    with Log.open(out, create=False) as log:
        day = read_day(log, specs=specs)
    if not day.captures:
        raise UsageError(f"{printable(out)}: no captures are logged there, so there is nothing to report")
    sheets = sheets_of(day)
    day = replace(day, findings=wrap(day, sheets=sheets))
    return Made(
        index=write_report(out, day=day, sheets=sheets, specs=specs),
        levels=dict(Counter(taken.standing.level for taken in day.captures)),
        findings=dict(Counter(finding.level for finding in day.findings)),
        told=day.findings,
    )
