"""What the house must know of a disk: whether it is a network's, and how much room is left on it.

A network file system announces no changes that another machine makes, so that a folder on one must be polled; and
SQLite's write-ahead log needs memory shared between its readers, which only one host has
(https://www.sqlite.org/wal.html, "All processes using a database must be on the same host computer").
"""

from __future__ import annotations

import os
import re
import shutil
import sys
from pathlib import Path

AnyPath = str | bytes | os.PathLike[str]

NETWORK = frozenset(
    {"9p", "afs", "beegfs", "ceph", "cifs", "coda", "davfs", "glusterfs", "gpfs", "lustre", "ncpfs", "nfs", "nfs4"}
    | {"ocfs2", "orangefs", "smb3", "smbfs", "vboxsf", "virtiofs"}
)
"""File system types, as the kernel names them, whose files another machine, or the host of a virtual one, can
change unannounced. From memory and from the kernel's list of file systems (Documentation/filesystems)."""

MOUNTS = Path("/proc/mounts")


def is_network(path: AnyPath) -> bool:
    r"""Tell whether a path lies on a network file system.

    A file system that a program serves (``fuse.*``) counts as one: whether it announces changes and shares
    memory cannot be known, and polling is slower but never wrong. Where the system has no list of mounts, only a
    Windows share (``\\host\share``) is recognised.

    Parameters
    ----------
    path : str, bytes or os.PathLike
        Need not exist yet: what lies above it decides.

    Returns
    -------
    bool
    """
    real = os.path.realpath(os.fsdecode(path))
    if sys.platform == "win32":
        return real.startswith("\\\\")
    try:
        table = MOUNTS.read_bytes()
    except OSError:  # no such list on this system
        return False
    kind = file_system(real, os.fsdecode(table))
    return kind in NETWORK or kind == "fuse" or kind.startswith("fuse.")


def free_bytes(path: AnyPath) -> int | None:
    """Return how many bytes may still be written where a path lies; None when that cannot be asked.

    A folder that is away, such as that of a drive which was pulled, has no answer: what lies above it is
    another disk.
    """
    try:
        return shutil.disk_usage(os.fsdecode(path)).free
    except OSError:
        return None


def file_system(real: str, table: str) -> str:
    r"""Return the type of the file system that holds a path, by a list as in ``/proc/mounts``.

    Parameters
    ----------
    real : str
        Absolute, without symbolic links.
    table : str
        Lines of device, place, type, options; blanks in a place stand as ``\040``.

    Returns
    -------
    str
        Empty where no line is about the path. Of two mounts on one place the later lies above the other.
    """
    best, kind = -1, ""
    for line in table.split("\n"):
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        place = re.sub(r"\\([0-7]{3})", lambda octal: chr(int(octal[1], 8)), fields[1]).rstrip("/")
        if len(place) >= best and (real == place or real.startswith(place + "/")):
            best, kind = len(place), fields[2]
    return kind
