"""Suffixes that captures are named with. They choose which files of a folder are looked at, and word refusals.

What a file is, its content decides (`qc.container.kinds`). Which maker uses which suffix: common practice, no
published source.
"""

from __future__ import annotations

RAW_SUFFIXES = frozenset(
    {
        *(".dng", ".nef", ".nrw", ".cr2", ".cr3", ".crw", ".arw", ".srf", ".sr2", ".kdc", ".dcr", ".pef", ".orf"),
        *(".rw2", ".rwl", ".raw", ".raf", ".3fr", ".fff", ".iiq", ".mos", ".mef", ".mrw", ".x3f", ".srw", ".erf"),
    }
)
"""Of raws, casefolded."""

RENDERED_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".tif", ".tiff", ".png", ".heic", ".heif", ".hif", ".avif", ".jxl"}
)
"""Of finished pictures, casefolded; a TIFF may hold a raw too."""

PICTURE_SUFFIXES = RAW_SUFFIXES | RENDERED_SUFFIXES
"""Of anything that a camera or the program beside it writes as a picture."""
