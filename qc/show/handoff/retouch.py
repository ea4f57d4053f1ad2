"""``retouch.md``: for each frame that needs it, what a retoucher must know, in plain sentences.

CommonMark. File names stand in code spans, so that they are read and searched as they are. A frame of which there
is nothing to say is not listed; how many there are of those is said for each set.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from qc.day import Day, Taken
from qc.reading import Spec
from qc.series.entry import Purpose
from qc.series.wrap.sheets import Set, sets_of
from qc.sheet.sheet import Sheet
from qc.show.handoff import light
from qc.show.handoff.asks import clock_of, name_of
from qc.show.handoff.burnt import burnt_lines
from qc.show.handoff.markdown import code, prose
from qc.show.text import settings_line
from qc.words import counted

_ROLES: Mapping[Purpose, str] = {
    Purpose.LEAVE_OUT: "Left out, not part of the series",
    Purpose.CLEAN_PLATE: "Clean plate, the set without the product",
    Purpose.PATCH: "With the reference patch",
    Purpose.DARK: "Shot without flash, for the ambient test",
    Purpose.BASELINE: "Approved frame",
}
"""In the order in which a retoucher asks for them."""


def retouch_md(day: Day, *, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> Iterator[bytes]:
    """Yield ``retouch.md``; parameters are those of `qc.show.handoff.write_handoff`."""
    for line in _lines(day, sheets, specs):
        yield (line + "\n").encode("utf-8", "backslashreplace")


def _lines(day: Day, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> Iterator[str]:
    yield "# For the retoucher"
    yield ""
    yield "Places are zones of the set sheet by their names, else parts of the upright picture."
    tests = light.tests_of(day)
    for one in sets_of(day, sheets):
        yield from _set(one, sheets, tests, specs)


def _set(
    one: Set, sheets: Mapping[str, Sheet], tests: Mapping[str, tuple[Taken, ...]], specs: Sequence[Spec]
) -> Iterator[str]:
    yield from ("", f"## {prose(one.name)}", "")
    yield from _roles(one)
    patched = any(taken.entry.purpose is Purpose.PATCH for taken in one.captures)
    if not patched:
        yield from (f"- {line}" for line in light.patch_span(_in_series(one), specs))
    told = [(taken, tuple(_frame(taken, sheets, tests, specs))) for taken in one.captures]
    # frames in a row of which the same is to be said are told together
    for (lines, settings), row in groupby(told, key=lambda each: (each[1], settings_line(each[0].logged.result))):
        if lines:
            yield from ("", f"### {_names([taken for taken, _ in row])}", "", prose(settings), "")
            yield from (f"- {line}" for line in lines)
    quiet = sum(not lines for _, lines in told)
    if quiet:
        yield from ("", f"{counted(quiet, 'frame')} of this set with nothing to say here.")


def _in_series(one: Set) -> list[Taken]:
    return [taken for taken in one.captures if taken.entry.purpose not in (Purpose.LEAVE_OUT, Purpose.DARK)]


def _roles(one: Set) -> Iterator[str]:
    for purpose, said in _ROLES.items():
        names = [code(name_of(taken)) for taken in one.captures if taken.entry.purpose is purpose]
        if names:
            yield f"- {said}: {', '.join(names)}"


def _names(row: Sequence[Taken]) -> str:
    names = ", ".join(code(name_of(taken)) for taken in row)
    clocks = list(dict.fromkeys(filter(None, (clock_of(row[0]), clock_of(row[-1])))))
    return f"{names}, {'–'.join(clocks)}" if clocks else names


def _frame(
    taken: Taken, sheets: Mapping[str, Sheet], tests: Mapping[str, tuple[Taken, ...]], specs: Sequence[Spec]
) -> Iterator[str]:
    if taken.entry.purpose is Purpose.LEAVE_OUT:
        return
    result = taken.logged.result
    if result.file.state != "whole":
        detail = f": {prose(result.file.detail)}" if result.file.detail else ""
        yield f"The file is {result.file.state}{detail}."
    if taken.entry.purpose is not Purpose.DARK:
        yield from burnt_lines(result, sheets.get(result.sheet_digest or ""))
    for dark in tests.get(taken.entry.content, ()):
        yield from light.ambient_lines(dark, specs)
    if taken.entry.purpose is not Purpose.DARK:
        yield from light.patch_lines(result, specs, declared=taken.entry.purpose is Purpose.PATCH)
