"""The file names that a camera's counter gives, one press of the shutter after the other."""

from __future__ import annotations

from collections.abc import Collection, Iterator

HIGHEST = 9999
"""After which the counter begins at 1 again: four digits, 0001 to 9999 (CIPA DC-009, DCF 2.0; from memory)."""


def file_names(first: int = 1, left_out: Collection[int] = ()) -> Iterator[str]:
    """Yield file names without end.

    Parameters
    ----------
    first : int
        Number of the first.
    left_out : collection of int
        Numbers whose files never came.
    """
    number = first
    while True:
        if number not in left_out:
            yield f"SB_{number:04d}.dng"
        number = number % HIGHEST + 1
