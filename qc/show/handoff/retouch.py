"""``retouch.md``: for each frame that needs it, what a retoucher must know, in plain sentences.

CommonMark. File names stand in code spans, so that they are read and searched as they are. A frame of which there
is nothing to say is not listed; how many there are of those is said for each set.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

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
    quiet = 0
    for taken in one.captures:
        told = list(_frame(taken, sheets, tests, specs, patched=patched))
        quiet += not told
        yield from (*_heading(taken), *(f"- {line}" for line in told)) if told else ()
    if quiet:
        yield from ("", f"{_frames(quiet)} of this set with nothing to say here.")


def _roles(one: Set) -> Iterator[str]:
    for purpose, said in _ROLES.items():
        names = [code(name_of(taken)) for taken in one.captures if taken.entry.purpose is purpose]
        if names:
            yield f"- {said}: {', '.join(names)}"


def _heading(taken: Taken) -> Iterator[str]:
    clock = clock_of(taken)
    yield from ("", f"### {code(name_of(taken))}" + (f", {clock}" if clock else ""), "")
    yield f"{prose(settings_line(taken.logged.result))}"
    yield ""


def _frame(
    taken: Taken,
    sheets: Mapping[str, Sheet],
    tests: Mapping[str, tuple[Taken, ...]],
    specs: Sequence[Spec],
    *,
    patched: bool,
) -> Iterator[str]:
    if taken.entry.purpose is Purpose.LEAVE_OUT:
        return
    file = taken.logged.result.file
    if file.state != "whole":
        yield f"The file is {file.state}" + (f": {prose(file.detail)}." if file.detail else ".")
    if taken.entry.purpose is not Purpose.DARK:
        yield from burnt_lines(taken.logged.result, sheets.get(taken.logged.result.sheet_digest or ""))
    for dark in tests.get(taken.entry.content, ()):
        yield from light.ambient_lines(dark, specs)
    if not patched or taken.entry.purpose is Purpose.PATCH:
        yield from light.patch_lines(taken.logged.result, specs, declared=patched)


def _frames(count: int) -> str:
    return "1 frame" if count == 1 else f"{count} frames"
