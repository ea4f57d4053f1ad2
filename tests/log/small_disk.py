"""What a log does on a disk that fills up and becomes read-only: ``python -m tests.log.small_disk FOLDER``.

FOLDER is a tmpfs of a few megabytes in a namespace of its own. Prints one JSON object of what was seen.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from qc.errors import LogError
from qc.event import Event
from qc.log.log import Log
from tests.log.made import captured
from tests.log.test_log import at


def said(act: Callable[[], object]) -> str:
    try:
        act()
    except LogError as error:
        return str(error)
    return "well"


def fill(path: Path) -> None:
    with path.open("wb", buffering=0) as file:
        for size in (65536, 4096, 1):
            try:
                while file.write(b"x" * size) == size:
                    pass
            except OSError:
                continue


def remount(folder: Path, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", str(folder)], check=True)


def main(folder: Path) -> dict[str, object]:
    seen: dict[str, object] = {}
    with Log.open(folder / "day.qc") as log:
        log.add(captured(1))
        fill(folder / "filler")
        seen["full"] = [said(lambda n=n: log.add(captured(n))) for n in range(2, 60)]  # type: ignore[misc]
        seen["full_event"] = said(lambda: log.event(log_event()))
        (folder / "filler").unlink()
        held = [c.path for c in log.captures()]
        seen["held_when_full"] = held
        seen["well_again"] = [said(lambda n=n: log.add(captured(n))) for n in range(2, 60)]  # type: ignore[misc]
        seen["held"] = [c.path for c in log.captures()]
        seen["events"] = [(e.kind, e.text) for _, e in log.events(kinds=("log_lost", "log_back"))]
        seen["digests"] = sum(log.digest(c.content) is not None for c in log.captures())
        fill(folder / "filler")
        seen["full_again"] = said(lambda: [log.add(captured(n)) for n in range(100, 200)])
        (folder / "filler").unlink()
        remount(folder, "ro")  # nothing is open: the log has let go of its file
        seen["read_only"] = said(lambda: log.add(captured(70)))
        seen["read_only_again"] = said(lambda: log.event(log_event()))
        seen["open_read_only_disk"] = said(lambda: Log.open(folder / "day.qc").close())
        with Log.open(folder / "day.qc", read_only=True) as reader:
            seen["read_from_read_only_disk"] = [c.path for c in reader.captures()]
        remount(folder, "rw")
        seen["writable_again"] = said(lambda: log.add(captured(70)))
        seen["held_at_last"] = len(list(log.captures()))
    return seen


def log_event() -> Event:
    return at("x" * 100_000)


if __name__ == "__main__":
    print(json.dumps(main(Path(sys.argv[1]))))
