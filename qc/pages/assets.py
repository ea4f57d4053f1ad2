"""The files of a page: made once, known by fixed names. No name from a request is ever looked for on a disk."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from qc.reading import Level
from qc.show.lines import css
from qc.show.palette import LEVELS, QUIET, RGB, TEXT

if TYPE_CHECKING:
    from jinja2 import Environment

GROUND: Final[RGB] = (18, 18, 18)
"""Behind letters, L* about 6: darker than around pictures, so that every level's colour reads on it."""

KINDS: Final[Mapping[str, str]] = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".jpg": "image/jpeg",
}
"""Media type by suffix; nothing else is served."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Assets:
    """What a page consists of.

    Attributes
    ----------
    page : bytes
        Its HTML.
    files : mapping of str to bytes
        Everything else of it, by name.
    digest : str
        Changes when any of it does: an open page then loads itself anew.
    """

    page: bytes
    files: Mapping[str, bytes]
    digest: str


def assets(package: str, page: str, copied: Sequence[str], **facts: object) -> Assets:
    """Make the files of a page.

    Parameters
    ----------
    package : str
        Of the page, such as ``"qc.pages.follow"``; its files lie in the folder ``page`` there.
    page : str
        Name of the HTML template there; it is given `facts` and the digest of the rest as ``digest``.
    copied : sequence of str
        Names of the style sheets and scripts there.
    """
    told = {name: files(package).joinpath("page", name).read_bytes() for name in copied}
    told["look.css"] = look()
    template = files(package).joinpath("page", page).read_bytes()
    digest = hashlib.blake2b(b"\0".join((template, *told.values())), digest_size=8).hexdigest()
    html = render(package, page, digest=digest, **facts)
    return Assets(page=html, files=told, digest=digest)


def look() -> bytes:
    """Return the style sheet that all pages share."""
    levels = {level.value: css(LEVELS[level]) for level in Level} | {Level.UNJUDGED.value: css(TEXT)}
    facts = {"ground": css(GROUND), "text": css(TEXT), "quiet": css(QUIET), "levels": levels}
    template = files(__package__).joinpath("look.css.j2").read_text(encoding="utf-8")
    return _environment(__package__).from_string(template).render(facts).encode()


def render(package: str, name: str, **facts: object) -> bytes:
    """Return a template of a page with its facts filled in and escaped, UTF-8."""
    return _environment(package).get_template(name).render(facts).encode("utf-8", "backslashreplace")


def kind_of(name: str) -> str:
    """Return the media type of a file by its name."""
    return KINDS[name[name.rindex(".") :]]


@cache
def _environment(package: str) -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader(package, "page") if files(package).joinpath("page").is_dir() else None
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
