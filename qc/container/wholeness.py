"""Whether all of a file is there, told from its structure; nothing is decoded."""

from __future__ import annotations

from qc.container.dng import DngTags, dng_tags
from qc.container.ifd import Tree, read_tree
from qc.container.kinds import UNREAD, FileKind
from qc.container.whole_boxes import check_boxes, check_ciff, check_png, check_raf, check_tail
from qc.container.whole_jpeg import check_jpeg
from qc.container.whole_scan import hole
from qc.container.whole_tiff import check_tiff
from qc.result import State


def check(
    data: bytes, kind: FileKind, *, tree: Tree | None = None, dng: DngTags | None = None
) -> tuple[State, str | None]:
    """Tell the state of a file.

    Parameters
    ----------
    data : bytes
        The file.
    kind : FileKind
        Its kind.
    tree : Tree or None
        Its TIFF directories, when they were read already.
    dng : DngTags or None
        Its DNG tags, when they were read already.

    Returns
    -------
    state : State
        ``"whole"``; ``"truncated"``: it ends before its data does; ``"damaged"``: it has its length and what is
        in it cannot be right; ``"unsupported"``: a picture that nothing here reads; ``"unreadable"``: not a
        picture; ``"empty"``: no bytes. Any bytes have a state; this never raises.
    detail : str or None
        Cause in words; None for a whole file.
    """
    if not data:
        return "empty", "the file is empty"
    if kind is FileKind.BLANK:
        return "damaged", "nothing but zeros: its space was reserved and nothing was written"
    if kind is FileKind.APPLE_DOUBLE:
        return "unreadable", "not a picture: a companion file that keeps another system's attributes"
    if kind is FileKind.UNKNOWN:
        return "unreadable", "not a picture of any kind known here"
    if kind in UNREAD:
        return "unsupported", f"{kind}: no decoder for it is installed"
    if kind.is_tiff:
        tree = tree or read_tree(data)
        return check_tiff(data, tree, kind, dng or dng_tags(data, tree))
    return _CHECKS.get(kind, check_tail)(data)


def _check_jpeg(data: bytes) -> tuple[State, str | None]:
    state, detail = check_jpeg(data)
    at = hole(data, 0, len(data)) if state == "whole" else None
    if at is not None:
        return "damaged", f"zeros stand in its coded picture at byte {at:,}: a part was not written"
    return state, detail


_CHECKS = {
    FileKind.JPEG: _check_jpeg,
    FileKind.PNG: check_png,
    FileKind.CR3: check_boxes,
    FileKind.CRW: check_ciff,
    FileKind.RAF: check_raf,
}
