"""What kind of file it is, whether all of it is there, and its recorded settings; never decodes."""

from __future__ import annotations

from qc.container.dng import DngTags, dng_tags
from qc.container.source import Loaded, digest_of, load

__all__ = ["DngTags", "Loaded", "digest_of", "dng_tags", "load"]
