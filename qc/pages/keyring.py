"""Port and key of a page, kept so that what is started again has the same link: of a watched folder, of a sheet.

They lie in the user's state folder, readable by nobody else, never among the captures or beside them.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import platformdirs

from qc.errors import printable
from qc.intake.place import APP

_KEY: Final = re.compile(r"[A-Za-z0-9_-]{32}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What a link is made of.

    Attributes
    ----------
    key : str
        32 signs that nobody can guess.
    port : int
        Where the page was served last; 0 for never.
    """

    key: str
    port: int = 0


def new_key() -> str:
    """Return a key nobody has had before."""
    return secrets.token_urlsafe(24)


def kept(folder: Path, *, beyond: bool = False) -> Kept:
    """Return what is kept of a folder's page; a new key where nothing is, or what is there is not ours.

    Parameters
    ----------
    folder : Path
        What the page is of.
    beyond : bool
        Whether the page is served beyond this machine. It has another key then: a link that was given out does not
        open what is served to this machine alone.
    """
    try:
        with _place(folder, beyond).open(encoding="utf-8") as file:
            _check_private(file.fileno())
            said = json.load(file)
        key, port = said["key"], said["port"]
    except (OSError, ValueError, KeyError, TypeError):  # there is none, or none that can be used: a new link does
        return Kept(key=new_key())
    good = isinstance(key, str) and _KEY.fullmatch(key) and type(port) is int and 0 <= port < 65536
    return Kept(key=key, port=port) if good else Kept(key=new_key())


def keep(folder: Path, what: Kept, *, beyond: bool = False) -> str | None:
    """Keep port and key; returns in one clause why they cannot be: the next watch then has another link."""
    place = _place(folder, beyond)
    unfinished = place.with_suffix(f".{os.getpid()}")
    try:
        place.parent.parent.parent.mkdir(parents=True, exist_ok=True)
        for ours in (place.parent.parent, place.parent):
            ours.mkdir(exist_ok=True, mode=0o700)
        unfinished.unlink(missing_ok=True)
        with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            json.dump({"key": what.key, "port": what.port}, file)
        unfinished.replace(place)
    except OSError as error:
        return f"{printable(place.parent)}: {error.strerror or error}"
    return None


def _place(folder: Path, beyond: bool) -> Path:
    called = hashlib.blake2b(os.fsencode(os.path.realpath(folder)), digest_size=16).hexdigest()
    return platformdirs.user_state_path(APP) / "pages" / f"{called}{'.beyond' if beyond else ''}.json"


def _check_private(descriptor: int) -> None:
    """Refuse a note that somebody else wrote or could have read: ValueError."""
    if os.name != "posix":
        return  # there the user's folders are private by other means
    facts = os.fstat(descriptor)
    if facts.st_uid != os.getuid() or stat.S_IMODE(facts.st_mode) & 0o077:
        raise ValueError("not ours alone")
