"""Port and key of a page, kept so that what is started again has the same link: of a watched folder, of a sheet.

They lie in the user's state folder, readable by nobody else, never among the captures or beside them.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
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


def kept(folder: Path) -> Kept:
    """Return what is kept of a folder's page; a new key where nothing is, or what is there is not ours."""
    try:
        said = json.loads(_place(folder).read_text(encoding="utf-8"))
        key, port = said["key"], said["port"]
    except (OSError, ValueError, KeyError, TypeError):  # there is none, or none that can be used: a new link does
        return Kept(key=new_key())
    good = isinstance(key, str) and _KEY.fullmatch(key) and type(port) is int and 0 <= port < 65536
    return Kept(key=key, port=port) if good else Kept(key=new_key())


def keep(folder: Path, what: Kept) -> str | None:
    """Keep port and key; returns in one clause why they cannot be: the next watch then has another link."""
    place = _place(folder)
    unfinished = place.with_suffix(f".{os.getpid()}")
    try:
        place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        unfinished.unlink(missing_ok=True)
        with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            json.dump({"key": what.key, "port": what.port}, file)
        unfinished.replace(place)
    except OSError as error:
        return f"{printable(place.parent)}: {error.strerror or error}"
    return None


def _place(folder: Path) -> Path:
    called = hashlib.blake2b(os.fsencode(os.path.realpath(folder)), digest_size=16).hexdigest()
    return platformdirs.user_state_path(APP) / "pages" / f"{called}.json"
