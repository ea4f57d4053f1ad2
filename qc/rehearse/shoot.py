"""A short rehearsed shoot: an approved frame, frames with a planted fault each, and an ambient pair."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from qc.rehearse.lens import SENSOR_MM
from qc.rehearse.studio import ALL_HEADS, DARK_ROOM, LABEL_Z, Studio
from qc.rehearse.truth import Truth
from qc.sheet.zones import Zone

SHEET_NAME = "bottles.set.toml"
"""File name of the set sheet that goes with the shoot."""

LAMP_ROOM: Mapping[str, float] = {"lamp": 1.0, "window": 0.2}
"""Mixture of the room with a warm lamp left on at the right."""

LAMP_STOPS_UNDER = 5.0
"""How far that room lies under the flash over the frame."""

DARK, LIT = "trigger off", "lamp left on"
"""The two takes of the ambient test."""

QUIET_ROOM: Mapping[str, float] = {"lamp": 0.02, "window": 0.02}
"""What is left of the room when everything is covered or off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """One frame to shoot.

    Attributes
    ----------
    name : str
        File name.
    about : str
        What it shows, or what was planted in it.
    heads, room : mapping of str to float
        Powers, as `Studio.frame` takes them.
    focus : float
        z of the sharp plane, millimetres.
    """

    name: str
    about: str
    heads: Mapping[str, float] = field(default_factory=lambda: ALL_HEADS)
    room: Mapping[str, float] = field(default_factory=lambda: DARK_ROOM)
    focus: float = LABEL_Z


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """One frame that was shot: what was asked for, where it is, what is true of it."""

    take: Take
    path: Path
    truth: Truth


def takes(studio: Studio) -> tuple[Take, ...]:
    """Return the frames of the shoot, in the order taken."""
    room = studio.room_at(LAMP_STOPS_UNDER, LAMP_ROOM)
    return (
        Take(name="R_0001.dng", about="approved", room=QUIET_ROOM),
        Take(
            name="R_0002.dng",
            about="spot slipped onto the label",
            heads={**ALL_HEADS, "spot": 1.0},
            room=QUIET_ROOM,
        ),
        Take(name="R_0003.dng", about="focus moved back", focus=LABEL_Z + 58.0, room=QUIET_ROOM),
        Take(name="R_0004.dng", about="flash missed", heads={}, room=QUIET_ROOM),
        Take(name="R_0005.dng", about=DARK, heads={}, room=room),
        Take(name="R_0006.dng", about=LIT, room=room),
    )


def shoot(studio: Studio, folder: Path) -> Iterator[Taken]:
    """Write the set sheet and then one frame after the other, each with its truth.

    Parameters
    ----------
    studio : Studio
        Where.
    folder : Path
        Where to; made when it does not exist. Files of the same names are replaced.

    Yields
    ------
    Taken
        As soon as each is written; the caller drops the truth when it has read it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    (folder / SHEET_NAME).write_text(sheet_text(studio), encoding="utf-8")
    for number, take in enumerate(takes(studio)):
        shot = studio.frame(
            heads=take.heads,
            room=take.room,
            focus=take.focus,
            noise=number,
            taken=f"2026-11-25T10:{number:02d}:00.250+01:00",
        )
        yield Taken(take=take, path=shot.write(folder / take.name), truth=shot.truth)


def sheet_text(studio: Studio, budgets: Mapping[str, float] | None = None) -> str:
    """Return the set sheet of the shoot as a technician writes it; `budgets` go before the zones' own."""
    pitch = 1000 * SENSOR_MM / studio.size[1]
    head = (
        "# Rehearsed set: the frames that belong to it are simulated.\n"
        "[set]\n"
        'name = "Stoneware bottles, rehearsed"\n'
        'preset = "series"\n'
        'light = "flash"\n'
        'needs = ["dark", "patch"]\n'
        f"magnification = {studio.lens.magnification:g}\n"
        f"pixel_pitch_um = {pitch:.4g}\n"
    )
    given = budgets or {}
    zones = (replace(zone, budget=given.get(zone.name, zone.budget)) for zone in studio.zones)
    return head + "".join(_zone_text(zone) for zone in zones)


def _zone_text(zone: Zone) -> str:
    lines = ["", "[[zone]]", f"name = {json.dumps(zone.name)}", f'role = "{zone.role}"']
    lines.append(f"box = [{', '.join(f'{number:g}' for number in _box(zone.points))}]")
    if zone.budget is not None:
        lines.append(f"budget = {zone.budget:g}")
    return "\n".join(lines) + "\n"


def _box(points: Sequence[tuple[float, float]]) -> tuple[float, float, float, float]:
    (left, top), (right, bottom) = points[0], points[2]
    return left, top, round(right - left, 4), round(bottom - top, 4)
