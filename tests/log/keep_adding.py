"""Adds captures to a log until it is killed: ``python -m tests.log.keep_adding OUT FIRST [COUNT [MOUNTS]]``.

Prints the number of each capture once it is added. MOUNTS stands in for ``/proc/mounts``.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

from qc import disk
from qc.log.log import Log
from qc.log.rows import Captured
from tests.log.made import captured, content, measured
from tests.log.test_log import at


def noted(number: int) -> Captured:
    return captured(number, events=(at(content=content(number)),))


def main(out: str, first: str, count: str = "", mounts: str = "") -> None:
    if mounts:
        disk.MOUNTS = Path(mounts)
    numbers = itertools.count(int(first)) if not count else range(int(first), int(first) + int(count))
    with Log.open(Path(out)) as log:
        for number in numbers:
            log.add(noted(number))
            if number % 5 == 0:
                log.add_ambient(measured(number), dark=content(number), lit="blake2b:00", limits="blake2b:11")
            print(number, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
