"""`Waiting`: captures that are complete and not yet measured. Newest first, then catch up."""

from __future__ import annotations

from dataclasses import dataclass, field

from qc.intake.updates import Stamp

_Rank = tuple[bool, float, int, str]


@dataclass(slots=True)
class Waiting:
    """Captures in the order in which they are measured.

    Those that arrived while the watch ran come first, the newest arrival before the others. Those that lay there
    when it began follow, the one changed last before the others. Equal times go by time of change, then by name.
    """

    _ranks: dict[str, _Rank] = field(default_factory=dict)
    _stamps: dict[str, Stamp] = field(default_factory=dict)

    def put(self, path: str, stamp: Stamp, *, arrived: float | None = None) -> None:
        """Add a capture, or give one that waits already a new stamp and place.

        Parameters
        ----------
        path : str
            As the operating system gives it.
        stamp : Stamp
            Of the content that is to be measured.
        arrived : float or None
            When it came, seconds on any one clock; None for one that lay there when the watch began.
        """
        self._ranks[path] = (arrived is not None, arrived or 0.0, stamp.mtime_ns, path)
        self._stamps[path] = stamp

    def take(self) -> tuple[str, Stamp] | None:
        """Remove the capture whose turn it is and return it with its stamp; None when nothing waits."""
        if not self._ranks:
            return None
        path = max(self._ranks.values())[-1]
        del self._ranks[path]
        return path, self._stamps.pop(path)

    def drop(self, path: str) -> bool:
        """Forget a capture; False when it did not wait."""
        self._stamps.pop(path, None)
        return self._ranks.pop(path, None) is not None

    def names(self) -> list[str]:
        """Return the paths that wait, in the order in which they will be taken."""
        return [rank[-1] for rank in sorted(self._ranks.values(), reverse=True)]

    def __len__(self) -> int:
        return len(self._ranks)

    def __contains__(self, path: object) -> bool:
        return path in self._ranks
