"""What stands in a folder now: names and stamps, told by the file system alone; nothing is opened."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass, field

from qc.intake.names import is_capture, is_searched
from qc.intake.updates import Stamp


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """One look at a folder and at all that lies in it.

    Attributes
    ----------
    files : dict of str to Stamp
        Every capture, by its whole path.
    closed : dict of str to str
        Folders inside it that could not be read, each with the cause in words.
    """

    files: dict[str, Stamp] = field(default_factory=dict)
    closed: dict[str, str] = field(default_factory=dict)


def stamp_of(path: str | os.PathLike[str]) -> Stamp | None:
    """Return the stamp of a file; None when there is none of that name, or it is no file.

    A link to a file has the stamp of what it leads to.
    """
    try:
        facts = os.stat(path)  # noqa: PTH116 - thousands of times a scan; a Path each would cost as much again
    except (OSError, ValueError):  # gone, out of reach, or not a possible name
        return None
    if not stat.S_ISREG(facts.st_mode):
        return None
    return Stamp(facts.st_size, facts.st_mtime_ns, facts.st_ino)


def list_folder(folder: str) -> Listing:
    """Look at a folder and at those inside it.

    Linked folders are not entered, so that no loop and nothing outside is; hidden ones, a system's own and our
    output are passed over (`qc.intake.names`).

    Parameters
    ----------
    folder : str
        As the operating system gives it; names that are not UTF-8 work.

    Raises
    ------
    OSError
        When the folder itself cannot be read.
    """
    found = Listing()
    inside: list[str] = _list_one(folder, found)
    while inside:
        below = inside.pop()
        try:
            inside += _list_one(below, found)
        except FileNotFoundError:  # it went away since its name was read
            continue
        except OSError as error:
            found.closed[below] = error.strerror or str(error)
    return found


def _list_one(folder: str, found: Listing) -> list[str]:
    """Add the captures of one folder; return the folders in it."""
    inside = []
    with os.scandir(folder) as entries:
        for entry in entries:
            if is_capture(entry.name):
                # asked by path, not of the entry: on Windows the entry knows no inode and an old size
                stamp = stamp_of(entry.path)
                if stamp is not None:
                    found.files[entry.path] = stamp
                    continue
            if is_searched(entry.name) and entry.is_dir(follow_symlinks=False):
                inside.append(entry.path)
    return inside
