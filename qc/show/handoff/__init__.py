r"""Files that leave with the pictures: a page for the photographer, a text for the retoucher, tables, checksums.

All are made from a `qc.day.Day` alone. `page` and its template make ``photographer.html``, `retouch` makes
``retouch.md``, `table` ``frames.csv``, `counts` ``counts.csv``, `sums` ``sha256sums.txt``; ``frames.jsonl`` is the
JSON contract. How a name that is no plain text is shown: in ``frames.jsonl`` and ``sha256sums.txt`` it can be read
back byte for byte; elsewhere control characters, line breaks and bytes that are not UTF-8 stand as escapes
(``\n``, ``\xff``).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from qc.contract import json_line
from qc.day import Day
from qc.reading import Spec
from qc.sheet.sheet import Sheet
from qc.show.handoff.counts import counts_csv
from qc.show.handoff.page import photographer_html
from qc.show.handoff.retouch import retouch_md
from qc.show.handoff.sums import sums
from qc.show.handoff.table import frames_csv
from qc.show.handoff.writing import check_place, write_files


def write_handoff(day: Day, folder: Path, *, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> list[Path]:
    """Write the hand-off of a day into a folder, each file in one step; those of an earlier time are replaced.

    Parameters
    ----------
    day : Day
        With its findings (`qc.series.wrap`).
    folder : Path
        Made when it does not exist.
    sheets : mapping of str to Sheet
        By digest, as `qc.series.wrap.sheets.sheets_of` returns them.
    specs : sequence of Spec
        The measurements.

    Returns
    -------
    list of Path
        ``photographer.html``, ``retouch.md``, ``frames.csv``, ``counts.csv``, ``frames.jsonl``,
        ``sha256sums.txt``.

    Raises
    ------
    UsageError
        When the folder is the watched one or lies in it, or cannot be written to.
    """
    check_place(folder, day)
    return write_files(
        folder,
        {
            "photographer.html": photographer_html(day, sheets=sheets, specs=specs),
            "retouch.md": retouch_md(day, sheets=sheets, specs=specs),
            "frames.csv": frames_csv(day, sheets=sheets, specs=specs),
            "counts.csv": counts_csv(day, sheets=sheets),
            "frames.jsonl": frames_jsonl(day),
            "sha256sums.txt": sums(day),
        },
    )


def frames_jsonl(day: Day) -> Iterator[bytes]:
    """Yield a line of ``qc.capture/1`` for each capture in the order taken, as ``qc watch --json`` gives them."""
    for taken in day.captures:
        yield (json_line(taken.logged.result, taken.standing) + "\n").encode("utf-8")
