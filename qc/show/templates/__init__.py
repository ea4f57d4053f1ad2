"""Templates of what several views draw, and the one kind of environment that all are rendered in.

Everything that is put in is escaped.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def environment(package: str, folder: str = "templates") -> Environment:
    """Return the environment of the templates in a package's folder, which may use those of this one."""
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=ChoiceLoader([PackageLoader(package, folder), PackageLoader("qc.show")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def render(name: str, *, package: str = "qc.show", **facts: object) -> bytes:
    """Return a template with its facts filled in, UTF-8; bytes of names that are none are shown as escapes."""
    return environment(package).get_template(name).render(facts).encode("utf-8", "backslashreplace")
