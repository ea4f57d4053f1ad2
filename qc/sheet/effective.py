"""The sheet that holds for a capture, with what was accepted since on top: the same for every way to measure."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from qc.container.source import digest_of
from qc.errors import printable
from qc.sheet.accepted import Acceptance, accepted_path
from qc.sheet.accepted_file import parse_accepted
from qc.sheet.find import find_path, places
from qc.sheet.problems import as_text, read_bytes
from qc.sheet.read import parse_sheet
from qc.sheet.sheet import Sheet


def effective_sheet(
    capture: str | bytes | os.PathLike[str],
    *,
    sheet: str | os.PathLike[str] | None = None,
    preset: str | None = None,
) -> Sheet | None:
    """Return the sheet that holds for a capture, with what was accepted during the watch of its folder.

    Parameters
    ----------
    capture : str, bytes or os.PathLike
        A capture; it need not exist.
    sheet : str, os.PathLike or None
        The set sheet; found as by `qc.find_sheet` when None.
    preset : str or None
        Default limits where there is no sheet.

    Returns
    -------
    Sheet or None
        Its `accepted` and `accepted_from` say what was accepted and where that is kept: in the output folder of
        the nearest watched folder, ``FOLDER.qc``. None without a sheet, and without a preset for which something
        was accepted.

    Raises
    ------
    UsageError
        When two sheets of one folder hold for the capture.
    SheetError
        When the sheet or what was accepted has mistakes.
    """
    place = Path(os.path.abspath(os.fsdecode(capture)))  # noqa: PTH100 - a link to a capture is judged where it lies
    path = find_path(place) if sheet is None else Path(sheet)
    if path is None and preset is None:
        return None
    kept = _accepted_for(place.parent, path)
    typed, text = None, ""
    if path is not None:
        data = read_bytes(path)
        text = as_text(data, path)
        typed = parse_sheet(text, path=path, digest=digest_of(data))
    if kept is None:
        return typed
    said = as_text(read_bytes(kept), kept)
    whole, _ = with_accepted(typed, text, parse_accepted(said, path=kept), said, path=kept, preset=preset)
    return whole


def with_accepted(
    sheet: Sheet | None,
    text: str,
    accepted: tuple[Acceptance, ...],
    accepted_text: str,
    *,
    path: Path,
    preset: str | None,
) -> tuple[Sheet | None, str]:
    """Return a sheet with acceptances on top, and the text that both stand for.

    Parameters
    ----------
    sheet, text : Sheet or None, str
        As typed; None and nothing where there is no sheet.
    accepted, accepted_text
        What was accepted, and the text of the file that keeps it.
    path : Path
        That file.
    preset : str or None
        Default limits where there is no sheet.
    """
    if not accepted:
        return sheet, text
    whole = (text.rstrip("\n") + "\n\n" if text else "") + accepted_text
    return (
        replace(
            sheet or Sheet(preset=preset),
            accepted=accepted,
            accepted_from=printable(path),
            digest=digest_of(whole.encode()),
        ),
        whole,
    )


def _accepted_for(folder: Path, sheet: Path | None) -> Path | None:
    """Return what was accepted for a sheet in the watch of a folder or of the nearest above it."""
    for above in (folder, *folder.parents):
        if above.name:
            kept = accepted_path(next(places(above)), sheet, folder=above)
            if kept.is_file():
                return kept
    return None
