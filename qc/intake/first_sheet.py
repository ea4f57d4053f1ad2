"""A set sheet made from a capture of the watch: what `qc sheet new` writes when no sheet is named."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from qc.digest import Digest
from qc.errors import UsageError, printable
from qc.intake.place import default_out, folders, where
from qc.log.log import NAME as LOG
from qc.log.log import Log
from qc.result import Result
from qc.sheet.find import SUFFIX, find_sheet, sheets_in
from qc.sheet.propose import Proposal, propose
from qc.sheet.write import new_sheet, new_sheet_text


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstSheet:
    """A sheet that was written.

    Attributes
    ----------
    path : Path
        Where.
    capture : str
        File name of the capture it was made from.
    proposals : tuple of Proposal
        What stands in it behind ``#``.
    """

    path: Path
    capture: str
    proposals: tuple[Proposal, ...]


def first_sheet(
    path: Path | None = None,
    *,
    capture: str | None = None,
    folder: Path | None = None,
    out: Path | None = None,
    name: str | None = None,
    preset: str = "series",
) -> FirstSheet:
    """Write a sheet that names a capture as its baseline and proposes zones from what it shows.

    Parameters
    ----------
    path : Path or None
        The sheet; ``OUT/FOLDERNAME.set.toml`` when None.
    capture : str or None
        File name or path of the capture; the last one of the watch when None. One that is not in the log is
        measured now.
    folder, out : Path or None
        As `qc.intake.place.where` takes them; of a capture that no watch knows, its own folder.
    name : str or None
        What the set is called; the folder's name when None.
    preset : str
        Default limits.

    Returns
    -------
    FirstSheet

    Raises
    ------
    UsageError
        When there is no such capture or no picture of it, a sheet holds for it already, or it cannot be written.
    LogError
        When the log cannot be read.
    SheetError
        When a sheet that would hold for it has mistakes.
    """
    folder, out = meant(folder, out, capture)
    result, digest, lies = _look(folder, out, capture)
    if path is None:
        _none_yet(lies, out)
        path = out / f"{folder.name}{SUFFIX}"
        _make(out)
    proposals = propose(digest)
    file = result.file.name
    written = new_sheet(
        path, name=name or printable(folder.name), preset=preset, baseline=file, proposals=proposals
    )
    return FirstSheet(path=written, capture=file, proposals=proposals)


def first_text(result: Result, *, name: str) -> str:
    """Return the text that `first_sheet` would write for a capture that was measured; nothing is written.

    Parameters
    ----------
    result : Result
        Of the capture, with its digest.
    name : str
        What the set is called.
    """
    assert result.digest is not None
    return new_sheet_text(name, baseline=result.file.name, proposals=propose(result.digest))


def meant(folder: Path | None, out: Path | None, capture: str | None) -> tuple[Path, Path]:
    """Return the watched folder and the output folder that are meant; raises as `first_sheet`."""
    return folders(*_place(folder, out, capture))


def lies_at(folder: Path, out: Path, capture: str | None) -> Path:
    """Return where a capture of a folder lies that is named, or was the last one; it need not exist."""
    return _logged(folder, out, capture)[2]


def _place(folder: Path | None, out: Path | None, capture: str | None) -> tuple[Path, Path]:
    """Return the folder that is meant; of a capture that lies elsewhere, its own."""
    lies = Path(os.path.abspath(capture)) if capture and Path(capture).is_file() else None  # noqa: PTH100 - as named
    if folder is not None or out is not None or lies is None:
        return where(folder=folder, out=out, capture=capture)
    try:
        found = where(capture=capture)
    except UsageError:  # no watch, or several: a capture that is there says itself where it belongs
        found = None
    return found if found and found[0] in lies.parents else (lies.parent, default_out(lies.parent))


def _look(folder: Path, out: Path, capture: str | None) -> tuple[Result, Digest, Path]:
    """Return a capture's result, its picture, and where it lies: from the log, or measured now."""
    result, digest, path = _logged(folder, out, capture)
    if digest is None and path.exists():
        from qc.pipeline import measure_capture

        result = measure_capture(path)
        digest = result.digest
    if result is None:
        raise UsageError(f"{printable(path)}: no such capture")
    if digest is None:
        why = result.file.detail or result.file.state
        raise UsageError(f"{printable(result.file.name)}: shows nothing ({why}); name another with --from")
    return result, digest, path


def _logged(folder: Path, out: Path, capture: str | None) -> tuple[Result | None, Digest | None, Path]:
    if (out / LOG).exists():
        with Log.open(out, create=False, read_only=True) as log:
            found = log.last() if capture is None else _found(log, capture)
            if found is not None:
                result, inside = found
                digest = log.digest(result.file.content) if result.file.content else None
                return result, digest, folder / inside
    if capture is None:
        raise UsageError(f"{printable(folder)}: no capture was measured yet; name one with --from")
    return None, None, Path(capture) if Path(capture).exists() else folder / capture


def _found(log: Log, capture: str) -> tuple[Result, str] | None:
    return log.find(os.path.abspath(capture)) or log.find(capture)  # noqa: PTH100 - as named


def _none_yet(capture: Path, out: Path) -> None:
    """Refuse to put a sheet over one that holds: two would hold, or what was typed would hold no more."""
    holds = [printable(path) for path in sheets_in(out)]
    found = find_sheet(capture)
    if found is not None and found.path:
        holds.append(found.path)
    if holds:
        raise UsageError(f"{holds[0]}: there is a set sheet already; `qc sheet zone` adds to it")


def _make(out: Path) -> None:
    try:
        out.mkdir(exist_ok=True)
    except OSError as error:
        raise UsageError(f"{printable(out)}: cannot be made: {error.strerror or error}") from error
