"""What every measurement reads in a zone of one frame: the numbers of `qc.measure_capture`, quickly.

A zone that is being drawn is measured again with every move of a hand. What does not hang on the zone (clipped
cells, brightness, where detail is) is worked out once and kept. The numbers are those that the whole way gives,
since both ways end in the same functions; a test holds them equal for all roles, kinds and orientations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

from qc.frame import Counts, Frame
from qc.measure import cast, exposure, highlights, sharpness, specs
from qc.measure.sharpness.reader import Reader as RidgeReader
from qc.reading import Reading
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone, with_role

SMALL_PATCH = 400_000
"""Cells up to which the light of a patch is averaged in some hundredths of a second."""

KEPT = 32
"""Answers that are kept: the same is asked for again once the hand rests, and for what a role is judged by."""

_Asked = tuple[str, Zone, tuple[Zone, ...], Brief]


class ZoneReadings:
    """Reads zones of one frame.

    Parameters
    ----------
    frame : Frame
        Of one cell or more.
    brief : Brief
        What a measurement may know of the sheet.
    """

    def __init__(self, frame: Frame, brief: Brief) -> None:
        self.frame = frame
        self.brief = brief
        self._kept: dict[_Asked, tuple[Reading, ...]] = {}
        self._highlights = highlights.Reader(frame)
        self._sharpness = RidgeReader(frame)
        self._ways = {
            "highlights": self._in_highlights,
            "exposure": self._in_exposure,
            "sharpness": self._in_sharpness,
            "cast": self._in_cast,
        }

    def all(self, zone: Zone, zones: Sequence[Zone]) -> tuple[Reading, ...]:
        """Return what `qc.measure_capture` gives for one zone of a sheet, in the order of reporting.

        Parameters
        ----------
        zone : Zone
            Which.
        zones : sequence of Zone
            All zones of the sheet, this one among them.
        """
        found: list[Reading] = []
        for spec in specs():
            if not spec.companions and self.frame.kind in spec.kinds:
                found += self.by(spec.name, zone, zones)
        return tuple(found)

    def by(self, name: str, zone: Zone, zones: Sequence[Zone]) -> tuple[Reading, ...]:
        """Return what one measurement reads in a zone; of a kind of file that it cannot judge, the reasons."""
        asked = name, zone, tuple(zones), self.brief
        if asked not in self._kept:
            for oldest in list(self._kept)[: len(self._kept) - KEPT + 1]:
                del self._kept[oldest]
            self._kept[asked] = self._by(name, zone, zones)
        return self._kept[asked]

    def _by(self, name: str, zone: Zone, zones: Sequence[Zone]) -> tuple[Reading, ...]:
        spec = next(spec for spec in specs() if spec.name == name)
        if self.frame.kind in spec.kinds and name in self._ways:
            return self._ways[name](zone, zones)
        measured = spec(self.frame, zones=zones, brief=self.brief)
        if self.frame.kind not in spec.kinds:
            return tuple(replace(reading, zone=zone.name) for reading in measured.readings)
        return tuple(reading for reading in measured.readings if reading.zone == zone.name)

    def quick_blur(self, zones: Sequence[Zone]) -> bool:
        """Tell whether sharpness with these zones is known, or refused, without reading ridges first."""
        if self.frame.kind not in sharpness.SPEC.kinds or sharpness.refusal(self.frame) is not None:
            return True
        return self._sharpness.knows(with_role(zones, Role.SHARP, Role.PROTECT))

    def quick_cast(self, zone: Zone, zones: Sequence[Zone]) -> bool:
        """Tell whether the colour of a zone is known, or had at once because the zone is small."""
        if ("cast", zone, tuple(zones), self.brief) in self._kept:
            return True
        rows, columns = zone.window(self._cells, self.frame.orientation)
        return (rows.stop - rows.start) * (columns.stop - columns.start) <= SMALL_PATCH

    def area(self, zone: Zone) -> float:
        """Return how much of the picture a zone holds, %, by the cells whose light is measured."""
        rows, columns = self._cells
        return 100.0 * float(zone.mask_in_window(self._cells, self.frame.orientation).sum()) / (rows * columns)

    @property
    def _cells(self) -> tuple[int, int]:
        return self.frame.cells.shape[1], self.frame.cells.shape[2]

    @cached_property
    def _burnt(self) -> Counts:
        return cast.burnt_cells(self.frame)

    def _in_highlights(self, zone: Zone, zones: Sequence[Zone]) -> tuple[Reading, ...]:
        return highlights.of_zone(self._highlights, zone, zones)

    def _in_exposure(self, zone: Zone, _zones: Sequence[Zone]) -> tuple[Reading, ...]:
        return (exposure.of_zone(self.frame, zone),)

    def _in_sharpness(self, zone: Zone, zones: Sequence[Zone]) -> tuple[Reading, ...]:
        if zone.role not in (Role.SHARP, Role.PROTECT):
            return ()
        return sharpness.of_zone(self._sharpness, zone, zones)

    def _in_cast(self, zone: Zone, _zones: Sequence[Zone]) -> tuple[Reading, ...]:
        if zone.role is not Role.PATCH:
            return ()
        return tuple(cast.of_patch(self.frame, zone, self.brief, self._burnt)[0])
