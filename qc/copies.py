"""A second drive against the hashes of the log: what is missing there, what differs, what is not of this day.

Only the other folder is read, each file once and in pieces; the captures themselves need not be there, and
nothing is written anywhere. A file is told from another by the BLAKE2b digest (RFC 7693) that the log knows its
content by, so that one flipped bit is found.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from qc.container.source import digest_of, read_pieces
from qc.errors import UsageError, printable
from qc.intake.names import is_capture, is_searched
from qc.log.log import Log
from qc.log.rows import Logged

OF_NOTHING = digest_of(b"")
"""Of a file without bytes, which is never read when it arrives."""

_KINDS = ("same", "renamed", "missing", "differing", "unchecked")

OTHER_BYTES = "other bytes than when it was logged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What a second drive holds of a day. Paths are relative to both folders, as the operating system gives them.

    Attributes
    ----------
    same : tuple of str
        There, and equal to the last bit.
    renamed : tuple of (str, str)
        Not there, but the same content lies under another path: path in the log, path on the other drive.
    missing : tuple of str
        Neither path nor content is there.
    differing : tuple of (str, str)
        There with other bytes, and what is known of them in words.
    unread : tuple of (str, str)
        There and could not be read, with the cause; a folder that could not be looked into, too.
    unchecked : tuple of str
        There, and the log has no hash to check it by: further files of a capture, such as the JPEG beside a raw,
        and captures that could not be read when they came.
    extra : tuple of str
        Captures that the log does not know, and further paths of contents that it knows.
    bytes : int
        How much was read.
    """

    same: tuple[str, ...] = ()
    renamed: tuple[tuple[str, str], ...] = ()
    missing: tuple[str, ...] = ()
    differing: tuple[tuple[str, str], ...] = ()
    unread: tuple[tuple[str, str], ...] = ()
    unchecked: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()
    bytes: int = 0

    @property
    def complete(self) -> bool:
        """Whether the content of every capture of the day is there, and nothing is there with other bytes."""
        return not (self.missing or self.differing or self.unread)


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a comparison is: files and bytes done and in all."""

    files: int
    files_in_all: int
    bytes: int
    bytes_in_all: int


@dataclass(slots=True)
class _Known:
    """What the log says lies, or once lay, in the folder of the captures."""

    now: dict[str, str | None] = field(default_factory=dict)
    """Digest of what a path holds; None where it could not be read."""
    before: dict[str, set[str]] = field(default_factory=dict)
    """Digests of what a path held earlier."""
    companions: set[str] = field(default_factory=set)


@dataclass(slots=True)
class _Seen:
    """What lies on the other drive."""

    sizes: dict[str, int] = field(default_factory=dict)
    closed: list[tuple[str, str]] = field(default_factory=list)
    digests: dict[str, str] = field(default_factory=dict)
    unread: dict[str, str] = field(default_factory=dict)


def check_other(folder: Path, other: Path) -> str:
    """Refuse a folder that would be compared with itself.

    Parameters
    ----------
    folder : Path
        Of the captures; it need not be there.
    other : Path
        The copy.

    Returns
    -------
    str
        What is worth knowing of the place of the copy, in one clause; empty where nothing is.

    Raises
    ------
    UsageError
        When `other` is the folder of the captures, or holds it: its files would pass for their own copies.
    """
    here, there = folder.resolve(), other.resolve()
    if here == there:
        raise UsageError(f"{printable(other)}: this is the folder of the captures itself; name its copy")
    if there in here.parents and here.is_dir():
        raise UsageError(f"{printable(other)}: the captures themselves lie in it; name the folder of the copy")
    try:
        same_disk = here.stat().st_dev == there.stat().st_dev
    except OSError:  # one of them is not there, as captures may be
        return ""
    return f"{printable(other)} lies on the same disk as the captures" if same_disk else ""


def compare(log: Log, other: Path, *, on_progress: Callable[[Progress], object] | None = None) -> Comparison:
    """Compare a copy of the captures with the log's hashes.

    Parameters
    ----------
    log : Log
        Of the day; opening it for reading only is enough.
    other : Path
        The copy of the watched folder. Only files that are captures by name are looked at, links are not followed.
    on_progress : callable or None
        Told after each piece that was read.

    Raises
    ------
    UsageError
        When `other` is no folder that can be read.
    LogError
        When the log cannot be read.
    """
    known = _known(log.captures())
    seen = _look(other, known)
    _read(other, seen, on_progress)
    return _told(known, seen)


# what the log knows


def _known(captures: Iterable[Logged]) -> _Known:
    known = _Known()
    for one in captures:
        digest = _digest(one)
        held = set() if digest is None and one.result.file.state == "vanished" else set(one.held)
        for path in held:
            known.now[path] = digest
            known.companions |= {os.path.join(os.path.dirname(path), c) for c in one.result.file.companions}  # noqa: PTH118, PTH120 - bytes of names stay as they are
        for path in set(one.paths) - held:
            known.before.setdefault(path, set()).update([digest] if digest else [])
    known.companions -= known.now.keys()
    return known


def _digest(one: Logged) -> str | None:
    file = one.result.file
    return OF_NOTHING if file.state == "empty" else file.content


# what lies there


def _look(other: Path, known: _Known) -> _Seen:
    wanted = known.now.keys() | known.companions
    seen, inside = _Seen(), [""]
    while inside:
        below = inside.pop()
        try:
            with os.scandir(other / below) as entries:
                inside += sorted(filter(None, (_take(entry, below, wanted, seen) for entry in entries)))
        except OSError as error:
            cause = error.strerror or str(error)
            if not below:
                raise UsageError(f"{printable(other)}: cannot be looked into: {cause}") from error
            seen.closed.append((below, cause))
    return seen


def _take(entry: os.DirEntry[str], below: str, wanted: Iterable[str], seen: _Seen) -> str | None:
    """Note a file; return a folder that is to be looked into."""
    path = os.path.join(below, entry.name)  # noqa: PTH118 - thousands of times
    if entry.is_dir(follow_symlinks=False):
        return path if is_searched(entry.name) else None
    if path not in wanted and not is_capture(entry.name):
        return None
    facts = entry.stat(follow_symlinks=False)
    if stat.S_ISREG(facts.st_mode):
        seen.sizes[path] = facts.st_size
    else:
        seen.unread[path] = "a link, not a copy" if stat.S_ISLNK(facts.st_mode) else "no file"
    return None


def _read(other: Path, seen: _Seen, on_progress: Callable[[Progress], object] | None) -> None:
    done, whole = 0, sum(seen.sizes.values())
    for number, path in enumerate(sorted(seen.sizes)):
        digest = hashlib.blake2b(digest_size=32)
        try:
            for piece in read_pieces(other / path):
                digest.update(piece)
                done += len(piece)
                if on_progress is not None:
                    on_progress(Progress(number, len(seen.sizes), done, whole))
        except OSError as error:
            seen.unread[path] = error.strerror or str(error)
            continue
        seen.digests[path] = f"blake2b:{digest.hexdigest()}"
    if on_progress is not None:
        on_progress(Progress(len(seen.sizes), len(seen.sizes), done, whole))


# what that comes to


def _told(known: _Known, seen: _Seen) -> Comparison:
    places: dict[str | None, str] = {}
    for path, digest in seen.digests.items():
        places.setdefault(digest, path)
    told: dict[str, dict[str, str]] = {
        kind: {} for kind in ("same", "renamed", "missing", "differing", "unchecked")
    }
    for path in sorted((known.now.keys() | known.companions) - seen.unread.keys()):
        kind, what = _of(path, seen.digests.get(path), known, places)
        told[kind][path] = what
    accounted = known.now.keys() | known.companions | set(told["renamed"].values())
    return Comparison(
        same=tuple(told["same"]),
        renamed=tuple(told["renamed"].items()),
        missing=tuple(told["missing"]),
        differing=tuple(told["differing"].items()),
        unread=tuple(sorted([*seen.unread.items(), *seen.closed])),
        unchecked=tuple(told["unchecked"]),
        extra=tuple(sorted(seen.digests.keys() - accounted)),
        bytes=sum(seen.sizes.values()),
    )


def _of(path: str, found: str | None, known: _Known, places: Mapping[str | None, str]) -> tuple[str, str]:
    """Return what is true of one path of the day, and the words that belong to it."""
    wanted, before = known.now.get(path), known.before.get(path, set())
    if found is None:
        return ("renamed", places[wanted]) if wanted in places else ("missing", "")
    if path in known.companions:
        # one that came before its raw was logged then
        return ("same", "") if found in before else ("differing", OTHER_BYTES) if before else ("unchecked", "")
    if wanted is None:
        return "unchecked", ""
    if found == wanted:
        return "same", ""
    if found in before:
        return "differing", "an earlier content of this name"
    named: Mapping[str | None, str] = {digest: other for other, digest in known.now.items()}
    return "differing", f"it holds {printable(named[found])}" if found in named else OTHER_BYTES
