"""`Sheet`: what the technician intends for a set. Types only; `qc.sheet.read` makes one from a file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from typing import Literal

from qc.reading import Preset
from qc.sheet.accepted import Acceptance
from qc.sheet.brief import D55, Brief
from qc.sheet.zones import Zone

PRESETS = ("loose", "series", "strict")
"""Names of the sets of default limits; the limits themselves stand in each measurement's `SPEC`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A set sheet, read and checked.

    Attributes
    ----------
    path : str or None
        Where it was read from, printable; None for a sheet made in code.
    name : str or None
        What the set is called.
    digest : str or None
        ``"blake2b:…"`` of the sheet's bytes, and of what was accepted: results record what they were judged by.
    preset : str or None
        One of `PRESETS`; None when nothing but the sheet's own limits is judged.
    light : {"flash", "continuous"}
        Kind of light.
    baseline : str or None
        File name of the approved frame.
    captures : str or None
        Pattern of the file names it is for (``*`` and ``?``); None for all.
    sync_limit_s : float or None
        Shortest shutter time at which flash and shutter agree, seconds.
    needs : tuple of str
        What must exist before the set is struck.
    flash_white : (float, float)
        CIE xy of the flash's white.
    magnification : float or None
        Image size over object size.
    pixel_pitch_um : float or None
        Photosite pitch in micrometres.
    circle_px : float or None
        Blur circle that still counts as sharp, pixels; None for the usual one.
    zones : tuple of Zone
        In the order of the sheet.
    limits : mapping of str to Preset
        Limits by reading, in place of the preset's.
    zone_limits : mapping of str to mapping of str to Preset
        Limits by zone name, then by reading.
    accepted : tuple of Acceptance
        What was accepted as intended since, oldest first; `qc.sheet.accepted_file` reads it.
    accepted_from : str or None
        Where that is kept, printable.
    """

    path: str | None = None
    name: str | None = None
    digest: str | None = None
    preset: str | None = None
    light: Literal["flash", "continuous"] = "flash"
    baseline: str | None = None
    captures: str | None = None
    sync_limit_s: float | None = None
    needs: tuple[str, ...] = ()
    flash_white: tuple[float, float] = D55
    magnification: float | None = None
    pixel_pitch_um: float | None = None
    circle_px: float | None = None
    zones: tuple[Zone, ...] = ()
    limits: Mapping[str, Preset] = field(default_factory=dict)
    zone_limits: Mapping[str, Mapping[str, Preset]] = field(default_factory=dict)
    accepted: tuple[Acceptance, ...] = ()
    accepted_from: str | None = None

    def brief(self, *, sync_limit_s: float | None = None) -> Brief:
        """Return what a measurement may know of the sheet.

        Parameters
        ----------
        sync_limit_s : float or None
            Goes before the sheet's own.
        """
        return Brief(
            light=self.light,
            flash_white=self.flash_white,
            sync_limit_s=self.sync_limit_s if sync_limit_s is None else sync_limit_s,
            magnification=self.magnification,
            pixel_pitch_um=self.pixel_pitch_um,
            circle_px=Brief().circle_px if self.circle_px is None else self.circle_px,
        )

    def is_for(self, file_name: str) -> bool:
        """Tell whether a capture of this name belongs to the set (`captures`)."""
        return self.captures is None or fnmatchcase(file_name, self.captures)
