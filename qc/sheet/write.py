"""Write set sheets as text: a new one, and one more zone at the end of one that is there.

What a person typed is never rewritten: a new sheet refuses to replace a file, and a zone comes after the last line
(or, where zones are written as one list, at its end). `qc.sheet.edit` changes those that are there.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from qc.errors import UsageError, printable
from qc.reading import Box
from qc.sheet.edit import ZoneText, save, zones_of
from qc.sheet.file import create
from qc.sheet.find import SUFFIX
from qc.sheet.problems import as_text, read_bytes
from qc.sheet.propose import Proposal
from qc.sheet.sheet import PRESETS
from qc.sheet.spelling import quoted, spelled
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
    target = sheet_path(path)
    text = new_sheet_text(
        name or target.name.removesuffix(SUFFIX), preset=preset, baseline=baseline, proposals=proposals
    )
    create(target, text)
    return target


def sheet_path(path: str | os.PathLike[str]) -> Path:
    """Return where `new_sheet` writes a sheet of that name: ``.set.toml`` is added where it is missing."""
    target = Path(path)
    if target.name.endswith(SUFFIX):
        return target
    return target.with_name(target.name.removesuffix(".toml").removesuffix(".set") + SUFFIX)


def new_sheet_text(
    name: str, *, preset: str = "series", baseline: str | None = None, proposals: Sequence[Proposal] = ()
) -> str:
    """Return the text of a new sheet; nothing is written. As in `new_sheet`, but the set's name is needed.

    Raises
    ------
    UsageError
        When the preset does not exist, or the name is no text.
    """
    if preset not in PRESETS:
        raise UsageError(f"no preset is called {preset!r}: there are {', '.join(PRESETS)}")
    return _TEMPLATE.format(
        name=quoted(name),
        preset=preset,
        baseline=_baseline(baseline),
        proposals="".join(map(_proposed, proposals)),
    )


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
    """Add a zone at the end of a sheet; what is there stays byte for byte as it is.

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
    text = as_text(read_bytes(path), path)
    there = zones_of(text, path)
    corners = None if points is None else tuple((x, y) for x, y in points)
    zone = ZoneText(
        name=name, role=role, box=box, points=corners, budget=budget, reference=reference, lightness=lightness
    )
    save(path, text, there, (*there, zone))


def _baseline(file: str | None) -> str:
    if file is None:
        return _BASELINE
    if printable(file) != file:
        return f"{_BASELINE}; {printable(file)} cannot be written here"
    return f"baseline = {quoted(file)}   # this sheet was made from it; name another once one is approved"


def _proposed(one: Proposal) -> str:
    facts = {"name": quoted(one.name), "role": quoted(one.role.value), "box": spelled(one.box)}
    if one.budget is not None:
        facts["budget"] = f"{one.budget:g}"
    lines = [f"# {key} = {value}\n" for key, value in facts.items()]
    return f"# [[zone]]   # {one.why}; remove the # of each line if that is intended\n" + "".join(lines) + "#\n"
