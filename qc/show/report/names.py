"""Names of files and places in a report: by content, safe on every disk, percent-encoded in links."""

from __future__ import annotations

import hashlib
import os
from typing import Final
from urllib.parse import quote

FOLDER: Final = "report"
PICTURES: Final = "pictures"
FRAMES: Final = "frames"
INDEX: Final = "index.html"


def mark_of(content: str) -> str:
    """Return what a capture's files are called by: 20 hexadecimal digits, whatever its name is."""
    return hashlib.blake2b(content.encode("utf-8", "surrogateescape"), digest_size=10).hexdigest()


def anchor_of(path: str) -> str:
    """Return where a frame stands on the page, ``frame=`` and its path percent-encoded, byte for byte.

    What stands behind ``#`` in a link: RFC 3986, section 2.1, with nothing left as it is but unreserved signs.
    """
    return "frame=" + quote(os.fsencode(path), safe="")
