"""On which line of a TOML text each key stands, which the standard reader does not tell."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence

KeyPath = tuple[str | int, ...]
"""Keys and list positions from the top of the document, as pydantic names a place."""


class Lines:
    """Line numbers of the keys of a valid TOML text (TOML 1.0).

    Parameters
    ----------
    text : str
        A document that `tomllib` reads.
    """

    def __init__(self, text: str) -> None:
        self._line: dict[KeyPath, int] = {(): 1}
        self._tables: dict[KeyPath, int] = {}
        self._read(text.splitlines())

    def of(self, path: Sequence[str | int]) -> int:
        """Return the line of a key, or of the nearest table around it."""
        known = tuple(path)
        while known not in self._line:
            known = known[:-1]
        return self._line[known]

    def _read(self, lines: Sequence[str]) -> None:
        table: KeyPath = ()
        number = 0
        while number < len(lines):
            first, line = number + 1, lines[number]
            bare = line.strip()
            if not bare or bare.startswith("#"):
                number += 1
                continue
            chunk, number = _whole(lines, number)
            if bare.startswith("["):
                table = self._header(_keys(chunk), first, repeated=bare.startswith("[["))
            else:
                for path in _paths(chunk):
                    self._line.setdefault((*table, *path), first)

    def _header(self, keys: Sequence[str], line: int, *, repeated: bool) -> KeyPath:
        path: KeyPath = ()
        for position, key in enumerate(keys):
            path = (*path, key)
            if repeated and position == len(keys) - 1:
                self._line.setdefault(path, line)
                self._tables[path] = self._tables.get(path, -1) + 1
            if path in self._tables:
                path = (*path, self._tables[path])
            self._line.setdefault(path, line)
        return path


def _whole(lines: Sequence[str], start: int) -> tuple[Mapping[str, object], int]:
    """Read the statement that starts on a line; return it and the number of the line after it."""
    for end in range(start + 1, len(lines) + 1):
        try:
            return tomllib.loads("\n".join(lines[start:end])), end
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
