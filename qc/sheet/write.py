"""Write set sheets as text: a new one, and one more zone at the end of one that is there.

What a person typed is never rewritten: a new sheet refuses to replace a file, and a zone is only ever added
after the last line.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path

from qc.errors import SheetError, UsageError, printable
from qc.reading import Box
from qc.sheet.find import SUFFIX
from qc.sheet.propose import Proposal
from qc.sheet.read import parse_sheet
from qc.sheet.sheet import PRESETS
from qc.sheet.zones import Role

_TEMPLATE = """\
# Set sheet: what is intended for this set. Lines that start with # are notes; remove the # to use one.
# `qc sheet check` reads it over, `qc explain` names every reading that may have a limit.
# What `qc sheet accept` widens during the shoot is kept apart, in NAME.accepted.toml; this file stays as typed.

[set]
name = {name}
preset = "{preset}"            # default limits: "loose", "series" or "strict"; without it only the limits below
light = "flash"              # "continuous" for a set without flash: there is no ambient test then
{baseline}
# captures = "SB_00*"        # where one folder holds several sets: the file names of this one
# sync_limit = "1/200"       # shortest shutter time at which the flash is still in step
# needs = ["dark", "patch", "clean plate"]   # what must be shot before the set is struck; also "baseline"
# flash_white = [0.3324, 0.3474]             # CIE x, y of the flash; this is D55
# magnification = 0.1        # image size over object size, for depth of field
# pixel_pitch_um = 3.76      # photosite pitch, for expected blur and depth of field
# circle_px = 2.0            # blur circle that still counts as sharp, pixels

# Limits in place of the preset's. A table here replaces the preset's whole table; an empty one takes it away.
# [limits."highlights.unintended_area"]
# note = 0.1
# warn = 0.5
# halt = 2.0

# Zones: places as fractions of the upright picture. `qc sheet zone` adds one.
#   protect   must hold detail            allow     burnt highlights are meant; budget: % of the
#                                                     frame that may be burnt, in any colour
#   sharp     must be sharp               moving    left out when frames are compared
#   witness   neutral, stays in frame     patch     the reference: neutral, or "EDITION/patch" of a chart
#   backdrop  free of highlight limits, judged for evenness
{proposals}# [[zone]]
# name = "label"
# role = "protect"
# box = [0.41, 0.38, 0.18, 0.22]             # left, top, width, height
# [zone.limits."highlights.unintended_area"] # for this zone alone
# warn = 0.05
# halt = 0.2
"""


_BASELINE = '# baseline = "SB_0007.dng"   # the frame that everyone approved'


def new_sheet(
    path: str | os.PathLike[str],
    *,
    name: str | None = None,
    preset: str = "series",
    baseline: str | None = None,
    proposals: Sequence[Proposal] = (),
) -> Path:
    """Write a commented sheet to start from.

    Parameters
    ----------
    path : str or os.PathLike
        Where; ``.set.toml`` is added when the name does not end in it: ``a`` and ``a.toml`` are written as
        ``a.set.toml``, since a sheet by another name would never be found.
    name : str or None
        What the set is called; the file's name when None.
    preset : str
        Default limits.
    baseline : str or None
        File name of the frame that the set is compared with; left out when it is no text.
    proposals : sequence of Proposal
        Zones that are written behind ``#``, each with what was seen there.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    UsageError
        When there is a file already, the folder cannot be written, or the preset does not exist.
    """
    target = Path(path)
    if not target.name.endswith(SUFFIX):
        target = target.with_name(target.name.removesuffix(".toml").removesuffix(".set") + SUFFIX)
    if preset not in PRESETS:
        raise UsageError(f"no preset is called {preset!r}: there are {', '.join(PRESETS)}")
    text = _TEMPLATE.format(
        name=_quoted(name or target.name.removesuffix(SUFFIX)),
        preset=preset,
        baseline=_baseline(baseline),
        proposals="".join(map(_proposed, proposals)),
    )
    try:
        with target.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise UsageError(f"{printable(target)}: there is a sheet already; it is not replaced") from None
    except OSError as error:
        raise UsageError(f"{printable(target)}: cannot be written: {error.strerror or error}") from error
    return target


def add_zone(
    path: str | os.PathLike[str],
    name: str,
    role: Role | str,
    *,
    box: Box | None = None,
    points: Sequence[tuple[float, float]] | None = None,
    budget: float | None = None,
    reference: str | None = None,
    lightness: float | None = None,
) -> None:
    """Add a zone at the end of a sheet; the lines above stay byte for byte as they are.

    Parameters
    ----------
    path : str or os.PathLike
        A sheet without mistakes.
    name, role, box, points, budget, reference, lightness
        As in `qc.sheet.zones.Zone`; either a box or points.

    Raises
    ------
    SheetError
        When the sheet has mistakes, or would have one with this zone. Nothing is written then.
    UsageError
        When it cannot be written.
    """
    facts: dict[str, str] = {"name": _quoted(name), "role": _quoted(str(role))}
    if box is not None:
        facts["box"] = _numbers(box)
    if points is not None:
        facts["points"] = "[" + ", ".join(_numbers(point) for point in points) + "]"
    if budget is not None:
        facts["budget"] = f"{budget:g}"
    if reference is not None:
        facts["reference"] = _quoted(reference)
    if lightness is not None:
        facts["lightness"] = f"{lightness:g}"
    before = _text(path)
    parse_sheet(before, path=path)
    gap = "\n" if before.endswith("\n") or not before else "\n\n"
    block = gap + "[[zone]]\n" + "".join(f"{key} = {value}\n" for key, value in facts.items())
    parse_sheet(before + block, path=path)
    try:
        with Path(path).open("a", encoding="utf-8", newline="") as file:
            file.write(block)
    except OSError as error:
        raise UsageError(f"{printable(path)}: cannot be written: {error.strerror or error}") from error


def _baseline(file: str | None) -> str:
    if file is None:
        return _BASELINE
    if printable(file) != file:
        return f"{_BASELINE}; {printable(file)} cannot be written here"
    return f"baseline = {_quoted(file)}   # this sheet was made from it; name another once one is approved"


def _proposed(one: Proposal) -> str:
    facts = {"name": _quoted(one.name), "role": _quoted(one.role.value), "box": _numbers(one.box)}
    if one.budget is not None:
        facts["budget"] = f"{one.budget:g}"
    lines = [f"# {key} = {value}\n" for key, value in facts.items()]
    return f"# [[zone]]   # {one.why}; remove the # of each line if that is intended\n" + "".join(lines) + "#\n"


def _text(path: str | os.PathLike[str]) -> str:
    try:
        return Path(path).read_bytes().decode("utf-8")
    except OSError as error:
        raise SheetError(path, [f"cannot be read: {error.strerror or error}"]) from error
    except UnicodeDecodeError as error:
        raise SheetError(path, ["not UTF-8 text"]) from error


def _quoted(text: str) -> str:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise UsageError(f"{printable(text)}: a name that is not text cannot stand in a sheet") from None
    # a TOML basic string takes JSON's escapes, but DEL must be escaped too
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _numbers(values: Sequence[float]) -> str:
    return "[" + ", ".join(f"{value:.6g}" for value in values) + "]"
