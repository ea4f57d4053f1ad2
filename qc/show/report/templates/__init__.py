"""Templates of the report and the one environment they are rendered in: everything that is put in is escaped."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader("qc.show.report")
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )


def render(name: str, **facts: object) -> bytes:
    """Return a template with its facts filled in, UTF-8; bytes of names that are none are shown as escapes."""
    return _environment().get_template(name).render(facts).encode("utf-8", "backslashreplace")


def copied(name: str) -> bytes:
    """Return a file that lies among the templates, as it is."""
    return files(__package__).joinpath(name).read_bytes()
