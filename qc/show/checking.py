"""The check of a day in words: how far it is, which frames are told, how it ends."""

from __future__ import annotations

from collections.abc import Mapping

from qc.batch.progress import Progress
from qc.day import DayFinding
from qc.intake.updates import Judged
from qc.reading import Level
from qc.show.signs import PLAIN, clean
from qc.show.watching.words import age, closing
from qc.words import counted

NEEDS_A_DECISION = (Level.HALT, Level.WARN)


def needs_a_decision(told: Judged) -> bool:
    """Tell whether a frame is told without being asked for: it is at halt or warn, or was not read."""
    return told.standing.level in NEEDS_A_DECISION or told.result.file.state != "whole"


def finding_line(finding: DayFinding) -> str:
    """Return a finding about the day as a line: mark, level, and the sentence."""
    return f"{'the day':8}  {PLAIN[finding.level]} {finding.level:<5}  {clean(finding.text)}"


def progress_line(progress: Progress) -> str:
    """Return how far a check is: "312 of 600 measured, 1.9 a second, 2 min left"."""
    parts = [f"{progress.done} of {progress.total} measured"]
    if progress.rate is not None and progress.left_s is not None:
        parts += [_rate(progress.rate), f"{age(progress.left_s)} left"]
    if progress.known:
        parts.append(f"{progress.known} known from before")
    return ", ".join(parts)


def stopped_line(progress: Progress) -> str:
    """Return how far a check came that was stopped."""
    return f"stopped: {progress.done} of {progress.total} measured and logged; run it again to go on"


def closing_lines(levels: Mapping[str, tuple[str, Level]], progress: Progress, out: str) -> tuple[str, ...]:
    """Return the end of a check: how many frames by level, which, what was measured, where the log is."""
    counts, worst, log = closing(levels, out)
    done = [f"{progress.done - progress.tests - progress.read} measured"]
    done += [counted(progress.tests, "ambient test")] if progress.tests else []
    done += [f"{progress.read} read and known"] if progress.read else []
    return counts, worst, ", ".join([*done, f"{progress.known} known from before"]), log


def _rate(rate: float) -> str:
    return f"{rate:.1f} a second" if rate >= 1 else f"{60 * rate:.1f} a minute"
