"""Which names in a folder are captures, and which of them belong together. A name is never more than a hint.

An allow-list: whatever a program writes beside the captures (sidecars, previews' caches, lists, part files whose
suffix says so) is passed over without knowing that program.
"""

from __future__ import annotations

import os
import unicodedata
from pathlib import PurePath

from qc.container.suffixes import PICTURE_SUFFIXES, RAW_SUFFIXES

_NEVER = (".", "~$")
"""How hidden files, another system's companions (``._NAME``, RFC 1740) and lock files begin."""

_SYSTEM_FOLDERS = frozenset({"system volume information", "$recycle.bin", "lost+found", "@eadir"})
"""Folders that systems keep on a disk for themselves: common practice, no published source."""


def is_capture(name: str) -> bool:
    """Tell whether a file of this name is looked at.

    Parameters
    ----------
    name : str
        File name without its folder.

    Returns
    -------
    bool
        True when its last suffix is one that captures have, in capitals or not, and it is neither hidden nor a
        lock file. ``SB_0001.JPG.xmp``, ``SB_0001.dng.partial`` and ``._SB_0001.JPG`` are none.
    """
    return not name.startswith(_NEVER) and PurePath(name).suffix.casefold() in PICTURE_SUFFIXES


def is_searched(name: str) -> bool:
    """Tell whether a folder of this name inside the watched one is looked into.

    Hidden folders, those that systems keep for themselves, and our own output (``NAME.qc``) are not.
    """
    folded = name.casefold()
    return not folded.startswith(".") and not folded.endswith(".qc") and folded not in _SYSTEM_FOLDERS


def is_raw(name: str) -> bool:
    """Tell whether a name is that of a raw, by its suffix; ``.tif`` counts as a finished picture."""
    return PurePath(name).suffix.casefold() in RAW_SUFFIXES


def stem_key(path: str | os.PathLike[str]) -> tuple[str, str]:
    """Return what the raw and the finished picture of one press of the shutter have in common.

    Parameters
    ----------
    path : str or os.PathLike
        Of a capture.

    Returns
    -------
    folder, stem : str
        The folder as it stands, and the name without its last suffix, casefolded and composed (Unicode NFC:
        systems differ in how they store an accent). ``SB_0001 (1).JPG`` is not of ``SB_0001.dng``.
    """
    folder, name = os.path.split(os.fspath(path))
    return folder, unicodedata.normalize("NFC", PurePath(name).stem.casefold())
