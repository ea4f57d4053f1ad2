"""Where each statement and key of a TOML text stands, which the standard reader does not tell."""

from __future__ import annotations

import io
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

KeyPath = tuple[str | int, ...]
"""Keys and list positions from the top of the document, as pydantic names a place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """A header or a key with its value.

    Attributes
    ----------
    first, end : int
        Its lines as positions in `lines_of`: from `first` up to but not `end`.
    table : KeyPath
        The table it opens, or stands in; lists of tables with the position.
    header : bool
        Whether it is a header.
    says : mapping
        What it says by itself, as the TOML reader gives it.
    """

    first: int
    end: int
    table: KeyPath
    header: bool
    says: Mapping[str, object]


def lines_of(text: str) -> list[str]:
    """Return the lines of a TOML text with their ends; nothing but a line feed ends a line there."""
    return list(io.StringIO(text, newline="\n"))


def statements(text: str) -> Iterator[Statement]:
    """Yield the statements of a text that `tomllib` reads, in order; blank lines and notes lie between."""
    lines, counts = lines_of(text), dict[KeyPath, int]()
    table: KeyPath = ()
    number = 0
    while number < len(lines):
        first, bare = number, lines[number].strip()
        number += 1
        if bare and not bare.startswith("#"):
            says, number = _whole(lines, first)
            if header := bare.startswith("["):
                table = _opened(_keys(says), counts, repeated=bare.startswith("[["))
            yield Statement(first=first, end=number, table=table, header=header, says=says)


class Lines:
    """Line numbers of the keys of a valid TOML text (TOML 1.0).

    Parameters
    ----------
    text : str
        A document that `tomllib` reads.
    """

    def __init__(self, text: str) -> None:
        self._line: dict[KeyPath, int] = {(): 1}
        for one in statements(text):
            inside = _around(one.table) if one.header else _paths(one.says, one.table)
            for path in inside:
                self._line.setdefault(path, one.first + 1)

    def of(self, path: Sequence[str | int]) -> int:
        """Return the line of a key, or of the nearest table around it."""
        known = tuple(path)
        while known not in self._line:
            known = known[:-1]
        return self._line[known]


def _around(table: KeyPath) -> Iterator[KeyPath]:
    for depth in range(1, len(table) + 1):
        yield table[:depth]


def _opened(keys: Sequence[str], counts: dict[KeyPath, int], *, repeated: bool) -> KeyPath:
    """Return the table that a header opens, and count those of a list."""
    path: KeyPath = ()
    for position, key in enumerate(keys):
        path = (*path, key)
        if repeated and position == len(keys) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _whole(lines: Sequence[str], start: int) -> tuple[Mapping[str, object], int]:
    """Read the statement that starts on a line; return it and the number of the line after it."""
    for end in range(start + 1, len(lines) + 1):
        try:
            return tomllib.loads("".join(lines[start:end])), end
        except tomllib.TOMLDecodeError:
            continue  # a value that goes on over the next line
    return {}, start + 1


def _keys(header: Mapping[str, object]) -> list[str]:
    keys = []
    inside: object = header
    while isinstance(inside, dict) and inside:
        (key,) = inside
        keys.append(key)
        inside = inside[key]
    return keys


def _paths(value: object, path: KeyPath = ()) -> Iterator[KeyPath]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield (*path, key)
            yield from _paths(inner, (*path, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _paths(inner, (*path, number))
