"""`Progress`: how far the check of a day has come. A value; who shows it decides how often."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a check has come.

    Attributes
    ----------
    done : int
        Pieces of work that are done and logged.
    total : int
        How many there are: captures, and ambient tests from when they are known.
    known : int
        Captures of the folder of which nothing had to be measured.
    elapsed_s : float
        Seconds since the first was handed out.
    tests : int
        How many of `total` are ambient tests; they come last.
    read : int
        How many of `done` only had to be read: the log knew what they hold.
    """

    done: int
    total: int
    known: int
    elapsed_s: float
    tests: int = 0
    read: int = 0

    @property
    def rate(self) -> float | None:
        """Pieces a second; None before the first is done."""
        return self.done / self.elapsed_s if self.done and self.elapsed_s > 0 else None

    @property
    def left_s(self) -> float | None:
        """Seconds until all is done at the rate so far; None before the first is done."""
        return (self.total - self.done) / self.rate if self.rate else None
