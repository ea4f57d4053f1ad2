"""Templates of the report: everything that is put in is escaped."""

from __future__ import annotations

from importlib.resources import files

from qc.show import templates


def render(name: str, **facts: object) -> bytes:
    """Return a template with its facts filled in, UTF-8; bytes of names that are none are shown as escapes."""
    return templates.render(name, package="qc.show.report", **facts)


def copied(name: str) -> bytes:
    """Return a file that lies among the templates, as it is."""
    return files(__package__).joinpath(name).read_bytes()
