r"""``sha256sums.txt``: a line for each file of the day, for ``sha256sum -c`` and whatever else reads its format.

Paths are relative to the folder of the captures: ``cd`` there, or into its copy, and check. The format is that of
the GNU coreutils manual, "md5sum invocation" and "sha2 utilities": the digest, a space, a space for text or ``*``
for binary, the name. A name with a backslash, line feed or carriage return has its line begin with a backslash,
and these signs in it stand as ``\\``, ``\n`` and ``\r``. Names are the bytes they are on the disk.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator

from qc.day import Day
from qc.log.rows import Logged

OF_NOTHING = hashlib.sha256(b"").hexdigest()
"""Of a file without bytes, which is never read."""


def sums(day: Day) -> Iterator[bytes]:
    """Yield the lines, in the order taken; a capture that lies under several paths has one for each.

    What could never be read has no digest and no line: `frames.csv` says why.
    """
    for taken in day.captures:
        digest = digest_of(taken.logged)
        for path in held(taken.logged) if digest else ():
            yield line(digest, path)


def digest_of(one: Logged) -> str:
    """Return the SHA-256 of a capture in hexadecimal; empty where it is not known."""
    file = one.result.file
    return file.sha256 or (OF_NOTHING if file.state == "empty" else "")


def held(one: Logged) -> tuple[str, ...]:
    """Return the paths under which a capture lies now."""
    return one.held or one.paths


def line(digest: str, path: str) -> bytes:
    """Return one line with its line break."""
    name = os.fsencode(path)
    if os.sep != "/":
        name = name.replace(os.sep.encode(), b"/")
    escaped = name.replace(b"\\", b"\\\\").replace(b"\n", b"\\n").replace(b"\r", b"\\r")
    mark = b"\\" if escaped != name else b""
    return mark + digest.encode("ascii") + b"  " + escaped + b"\n"
