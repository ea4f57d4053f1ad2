"""How a sheet's values are written when they are not typed by a person."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, cast

from qc.errors import UsageError, printable

if TYPE_CHECKING:
    from tomlkit.items import Array, Item

Value = str | float | tuple[float, ...] | tuple[tuple[float, float], ...]
"""What a key of a zone may hold."""

_NOTE = re.compile(
    r'"""(?:\\.|[^\\])*?"""' r"|'''.*?'''" r'|"(?:\\.|[^"\\])*"' r"|'[^']*'" r"|(?P<note>#[^\r\n]*)", re.DOTALL
)


def quoted(text: str) -> str:
    """Return a text as a TOML string; one that is not UTF-8 is a `UsageError`."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise UsageError(f"{printable(text)}: a name that is not text cannot stand in a sheet") from None
    # a TOML basic string takes JSON's escapes, but DEL must be escaped too
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def spelled(value: Value) -> str:
    """Return a value as TOML; a number is as short as it can be and still read back as the same."""
    if isinstance(value, str):
        return quoted(str(value))
    if isinstance(value, tuple):
        return "[" + ", ".join(map(spelled, value)) + "]"
    return repr(float(value)).removesuffix(".0")


def spelled_zone(facts: Mapping[str, Value]) -> str:
    """Return a zone as a block of lines."""
    return "[[zone]]\n" + "".join(f"{key} = {spelled(value)}\n" for key, value in facts.items())


def respelled(statement: str, value: Value, *, key: str | None = None) -> str:
    """Return a statement with another value, or another key too; all that is not said by them stays.

    Parameters
    ----------
    statement : str
        A key and its value with all its lines.
    value : str, float or tuple
        In a list of as many numbers only those that differ are written. Notes inside a list that has to be written
        anew come to stand above it.
    key : str or None
        Another key; the same when None.
    """
    import tomlkit

    ((old, item),) = [(name, item) for name, item in tomlkit.parse(statement).body if name is not None]
    notes, said, kept = notes_of(item.as_string()), respell(item, value), item.trivia
    named = old.as_string() if key is None else old.as_string().replace(old.key, key, 1)  # its quotes stay
    line = f"{kept.indent}{named}{old.sep}{said}{kept.comment_ws}{kept.comment}{kept.trail}"
    lost = [] if notes_of(said) else notes
    end = "\r\n" if "\r\n" in statement else "\n"
    return "".join(f"{kept.indent}{note}{end}" for note in lost) + line


def respell(item: Item, value: Value) -> str:
    """Return the text of a value that comes for another; a list of the same shape keeps what stays the same."""
    if not isinstance(value, tuple) or not _same_shape(item, value):
        return spelled(value)
    _fill(cast("Array", item), value)
    return item.as_string()


def notes_of(text: str) -> list[str]:
    """Return the notes in a piece of TOML, in order."""
    return [found["note"] for found in _NOTE.finditer(text) if found["note"]]


def _same_shape(item: object, value: object) -> bool:
    if not isinstance(value, tuple):
        return not isinstance(item, list)
    return isinstance(item, list) and len(item) == len(value) and all(map(_same_shape, item, value))


def _fill(array: Array, values: Sequence[Value]) -> None:
    import tomlkit

    for number, value in enumerate(values):
        if isinstance(value, tuple):
            _fill(array[number], value)
        elif array[number] != value:
            array[number] = tomlkit.value(spelled(value))
