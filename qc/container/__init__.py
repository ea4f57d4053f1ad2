"""What kind of file it is, whether all of it is there, and its recorded settings; never decodes."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Literal

from qc.container.dng import DngTags, dng_tags
from qc.container.kinds import Family, FileKind, has_tiff_header, kind_of
from qc.container.metadata import colour_space, settings, settings_tree
from qc.container.source import Loaded, digest_of, load, read_head
from qc.container.suffixes import PICTURE_SUFFIXES
from qc.container.wholeness import check
from qc.errors import (
    CaptureError,
    DamagedError,
    EmptyError,
    TruncatedError,
    UnreadableError,
    UnsupportedError,
    VanishedError,
)
from qc.frame import Camera
from qc.result import State

__all__ = [
    "Container",
    "DngTags",
    "Family",
    "FileKind",
    "Loaded",
    "check",
    "digest_of",
    "dng_tags",
    "inspect",
    "kind_of",
    "load",
    "read_head",
    "settings",
]

_ERRORS: dict[str, type[CaptureError]] = {
    error.state: error
    for error in (DamagedError, EmptyError, TruncatedError, UnreadableError, UnsupportedError, VanishedError)
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Container:
    """What is known of a file before anything is decoded.

    Attributes
    ----------
    kind : FileKind
        By its content.
    family : Family
        Raw, rendered, or not a picture.
    state : State
        ``"whole"``, or why it cannot be measured.
    detail : str or None
        Cause in words when `state` is not whole.
    camera : Camera
        Recorded settings; None for whatever is not recorded or cannot be read here.
    orientation : int
        Exif Orientation, 1 to 8.
    dng : DngTags or None
        For DNG files.
    exif_space : {"sRGB", "Adobe RGB"} or None
        Colour space of a rendered file as Exif states it.
    """

    kind: FileKind
    family: Family
    state: State
    detail: str | None = None
    camera: Camera = field(default_factory=Camera)
    orientation: int = 1
    dng: DngTags | None = None
    exif_space: Literal["sRGB", "Adobe RGB"] | None = None

    def refusal(self, path: str | bytes | os.PathLike[str]) -> CaptureError | None:
        """Return the error for a file that cannot be decoded, or None for one that is whole."""
        if self.state == "whole":
            return None
        return _ERRORS.get(self.state, UnreadableError)(path, self.detail or self.state)


def inspect(data: bytes, *, name: str) -> Container:
    """Look at a file without decoding it.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name. It never decides anything; its suffix helps to word a refusal.

    Returns
    -------
    Container
        For any bytes at all; bad content is a state, not an error.
    """
    tree = settings_tree(data, FileKind.TIFF) if has_tiff_header(data) else None
    kind = kind_of(data, tree)
    dng = dng_tags(data, tree) if kind is FileKind.DNG else None
    state, detail = check(data, kind, tree=tree, dng=dng)
    suffix = PurePath(name).suffix.casefold()
    if kind is FileKind.UNKNOWN and suffix in PICTURE_SUFFIXES:
        detail = f"its name ends in {suffix}, but its content is not a picture of any kind known here"
    found = settings_tree(data, kind) if tree is None else tree
    camera, orientation = settings(data, kind, found)
    return Container(
        kind=kind,
        family=kind.family,
        state=state,
        detail=detail,
        camera=camera,
        orientation=orientation,
        dng=dng,
        exif_space=colour_space(found),
    )
