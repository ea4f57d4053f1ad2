"""Read a set sheet: every mistake in one message, each with its line and field."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping

from qc.container.source import digest_of
from qc.errors import SheetError, printable
from qc.reading import Preset
from qc.sheet.brief import D55
from qc.sheet.checks import cross_problems
from qc.sheet.lines import KeyPath
from qc.sheet.model import LimitTable, SetTable, SheetTables, ZoneTable
from qc.sheet.problems import as_text, as_toml, placed, read_bytes, shape
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Zone


def read_sheet(path: str | os.PathLike[str]) -> Sheet:
    """Read a ``*.set.toml`` file.

    Parameters
    ----------
    path : str or os.PathLike
        The sheet.

    Returns
    -------
    Sheet

    Raises
    ------
    SheetError
        With every mistake found; a sheet is never half-applied.
    """
    data = read_bytes(path)
    return parse_sheet(as_text(data, path), path=path, digest=digest_of(data))


def parse_sheet(text: str, *, path: str | os.PathLike[str] = "sheet", digest: str | None = None) -> Sheet:
    """Make a sheet from its text; `path` is for messages and for `Sheet.path`. Raises as `read_sheet`."""
    return _sheet(tables_of(text, path), printable(path), digest)


def tables_of(text: str, path: str | os.PathLike[str]) -> SheetTables:
    """Return what a sheet's text says, checked, as it is written there. Raises as `read_sheet`."""
    from qc.measure import specs

    text = text.replace("\r\n", "\n")
    raw = as_toml(text, path)
    tables, problems = shape(raw, SheetTables, _fields)
    problems += cross_problems(raw, specs())
    if tables is None or problems:
        raise SheetError(path, placed(problems, raw, text))
    return tables


def _fields(place: KeyPath) -> Iterable[str]:
    if "limits" in place[:-1]:
        return LimitTable.model_fields
    if len(place) == 1:
        return SheetTables.model_fields
    return SetTable.model_fields if place[0] == "set" else ZoneTable.model_fields


def _sheet(tables: SheetTables, path: str, digest: str | None) -> Sheet:
    about = tables.set
    return Sheet(
        path=path,
        digest=digest,
        name=about.name,
        preset=about.preset,
        light=about.light,
        baseline=about.baseline,
        captures=about.captures,
        sync_limit_s=about.sync_limit,
        needs=about.needs,
        flash_white=about.flash_white or D55,
        magnification=about.magnification,
        pixel_pitch_um=about.pixel_pitch_um,
        circle_px=about.circle_px,
        zones=tuple(_zone(zone) for zone in tables.zone),
        limits=_presets(tables.limits),
        zone_limits={zone.name: _presets(zone.limits) for zone in tables.zone if zone.limits},
    )


def _zone(table: ZoneTable) -> Zone:
    facts = {"budget": table.budget, "lightness": table.lightness}
    if table.box is not None:
        return Zone.from_box(table.name, table.role, table.box, reference=table.reference, **facts)
    assert table.points is not None
    return Zone(name=table.name, role=table.role, points=table.points, reference=table.reference, **facts)


def _presets(tables: Mapping[str, LimitTable]) -> Mapping[str, Preset]:
    return {name: Preset(note=t.note, warn=t.warn, halt=t.halt) for name, t in tables.items()}
