"""CSV that spreadsheets and programs read alike.

RFC 4180: commas, CRLF, quotes doubled. UTF-8 with a byte order mark: without it the usual spreadsheets take the
bytes for a local code page; programs that know UTF-8 pass over it (Python: ``utf-8-sig``). Numbers have a decimal
point and no thousands.

A cell of text that begins with ``=``, ``+``, ``-`` or ``@`` is taken for a formula by spreadsheets, so it gets an
apostrophe before it (OWASP, "CSV Injection"; also for tab and carriage return, which stand as escapes here
anyway). Numbers are left as they are. Control characters, line breaks too, and bytes of a file name that are not
UTF-8 are shown as escapes, so that a frame is one line; the exact name stands in ``frames.jsonl``.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

from qc.show.signs import clean

BOM = "\ufeff".encode()

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")

Cell = str | int | float | None


def csv_lines(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Iterator[bytes]:
    """Yield a table as bytes, line by line; its first line holds the headers."""
    yield BOM + _line(head)
    for row in rows:
        yield _line(row)


def cell(value: Cell) -> str:
    """Return a value as it stands in the file, before quoting; empty for None."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value + 0.0:.6g}"
    return str(value) if isinstance(value, int) else plain(value)


def plain(text: str) -> str:
    """Return text that no spreadsheet takes for a formula, without control characters."""
    shown = clean(text)
    return f"'{shown}" if text.lstrip(" ").startswith(_FORMULA) else shown


def _line(row: Sequence[Cell]) -> bytes:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\r\n").writerow([cell(value) for value in row])
    return buffer.getvalue().encode("utf-8", "backslashreplace")
