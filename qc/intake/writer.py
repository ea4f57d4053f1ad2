"""Who has a file open for writing? Linux can say; elsewhere the answer is "unknown".

A read lease (``fcntl``, ``F_SETLEASE``, ``F_RDLCK``; fcntl(2), section "Leases") is granted only while no process
has the file open for writing. Asking for one and giving it back at once is therefore a question to the kernel. A
shared writable mapping counts as an open file, also after its descriptor was closed.

The question reads nothing, so that the file's time of last access stays as it is. A writer that opens the file in
the microseconds in which the lease stands is made to wait for them by the kernel, no more.
"""

from __future__ import annotations

import errno
import os
import signal

from qc.container.source import OPEN_FLAGS
from qc.intake.scan import stamp_of
from qc.intake.settle import Word
from qc.intake.updates import Stamp

try:
    import fcntl
except ImportError:  # not a POSIX system
    fcntl = None  # type: ignore[assignment]  # mypy knows only that it is there

_CAN_ASK = all(hasattr(fcntl, name) for name in ("F_SETLEASE", "F_SETSIG", "F_RDLCK"))


def writer_of(path: str | os.PathLike[str]) -> Word:
    """Tell whether any process has a file open for writing.

    Parameters
    ----------
    path : str or os.PathLike
        The file; opened read-only for the question, never read.

    Returns
    -------
    {"none", "some", "unknown"}
        ``"unknown"`` off Linux, on file systems without leases, for files of another user, and where the file
        cannot be opened. On a network file system only this machine's writers are known: do not ask there.
    """
    if not _CAN_ASK:
        return "unknown"
    try:
        asked = os.open(path, OPEN_FLAGS)
    except OSError:  # gone, or not ours to read: whoever measures it will say so
        return "unknown"
    try:
        return _ask(asked)
    finally:
        os.close(asked)


def peek(path: str | os.PathLike[str], *, network: bool = False) -> tuple[Word, Stamp | None]:
    """Return who writes to a file, and its stamp as it is after that was asked; None when it is gone.

    In this order a writer that came, wrote and left between the two shows in the stamp.
    """
    word: Word = "unknown" if network else writer_of(path)
    return word, stamp_of(path)


def _ask(asked: int) -> Word:
    try:
        # whoever opens the file meanwhile has a signal sent to us. Its default, SIGIO, would end the process;
        # SIGURG is passed over unless somebody handles it (signal(7))
        fcntl.fcntl(asked, fcntl.F_SETSIG, signal.SIGURG)
        fcntl.fcntl(asked, fcntl.F_SETLEASE, fcntl.F_RDLCK)
    except OSError as error:
        return "some" if error.errno == errno.EAGAIN else "unknown"
    fcntl.fcntl(asked, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    return "none"
