"""What is true of a rehearsed frame: computed from its light before any noise, never from its counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.errors import UsageError
from qc.frame import Cfa
from qc.rehearse import camera
from qc.rehearse.sensor import Sensor
from qc.sheet.zones import Zone


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """The truth of one frame, sensor orientation.

    Attributes
    ----------
    flash, room : ndarray of float32, shape (rows, columns)
        Noise-free light of the flash heads and of the room at each photosite, through its colour filter.
    cfa : Cfa
        Colour filters, 2×2.
    sensor : Sensor
        With its true black, saturation, gain and read noise at this frame's ISO.
    sigma : ndarray of float32, shape (rows // 8, columns // 8)
        Blur σ of the nearest surface in pixels: residual, diffraction and defocus; shake left out.
    orientation : int
        Exif Orientation.
    """

    flash: NDArray[np.float32]
    room: NDArray[np.float32]
    cfa: Cfa
    sensor: Sensor
    sigma: NDArray[np.float32]
    orientation: int = 1

    @property
    def light(self) -> NDArray[np.float32]:
        """All light at each photosite; 1 is the tagged white level over the true black."""
        return self.flash + self.room

    def cells(self, seen: NDArray[np.float32]) -> NDArray[np.float64]:
        """Return the mean of filtered light by colour in 2×2 cells, shape (colours, rows // 2, columns // 2)."""
        colours = len(self.cfa.colours)
        rows, columns = seen.shape[0] // 2, seen.shape[1] // 2
        sums, counts = np.zeros((colours, rows, columns)), np.zeros((colours, 1, 1))
        for row in (0, 1):
            for column in (0, 1):
                index = self.cfa.pattern[row][column]
                sums[index] += seen[row : 2 * rows : 2, column : 2 * columns : 2]
                counts[index] += 1
        return sums / counts

    def clipped(self) -> NDArray[np.uint8]:
        """Return how many photosites of each colour are at saturation in each cell, shape as `cells`."""
        at_top = self.sensor.clipped(self.light, self.cfa).astype(np.float32)
        share = self.cells(at_top)
        counts = np.bincount(self.cfa.array().ravel(), minlength=len(share))
        return np.rint(share * counts[:, np.newaxis, np.newaxis]).astype(np.uint8)

    def clipped_area(self, zone: Zone | None = None) -> float:
        """Return the cells with any photosite at saturation, % of the cells of the frame or zone."""
        cells: NDArray[np.bool_] = np.asarray(self.clipped().any(axis=0))
        return 100 * float(cells[self._inside(zone, cells.shape)].mean())

    def burnt_area(self, zone: Zone | None = None) -> float:
        """Return the cells in which every colour has a photosite at saturation, % of the frame or zone."""
        cells: NDArray[np.bool_] = np.asarray(self.clipped().all(axis=0))
        return 100 * float(cells[self._inside(zone, cells.shape)].mean())

    def unsure_area(self, zone: Zone | None = None) -> float:
        """Return the cells that noise or the plateau's width decides, % of the cells of the frame or zone.

        Some photosite's light lies so close to saturation, by half the plateau and two standard deviations of its
        noise, that it may or may not have reached it.
        """
        sensor, height = self.sensor, self.sensor.white - self.sensor.black
        spread = 2 * np.sqrt(np.maximum(self.light, 0) * height * sensor.gain + sensor.read_noise**2)
        reach = (spread / height + sensor.plateau / 2).astype(np.float32)
        above = sensor.clipped(self.light + reach, self.cfa) & ~sensor.clipped(self.light - reach, self.cfa)
        cells: NDArray[np.bool_] = np.asarray((self.cells(above.astype(np.float32)) > 0).any(axis=0))
        return 100 * float(cells[self._inside(zone, cells.shape)].mean())

    def stops_under(self, zone: Zone | None = None, colour: str | None = "G") -> float:
        """Return log2(Σ flash / Σ room) over cells that are not clipped, of one colour or, for None, of all.

        Raises
        ------
        UsageError
            When the frame has no light of the room.
        """
        flash, room = self._sums(zone, colour)
        if room <= 0 or flash <= 0:
            raise UsageError("stops under needs light of both the flash and the room")
        return float(np.log2(flash / room))

    def to_flash(self, zone: Zone | None = None, colour: str | None = "G") -> float:
        """Return room over flash in %."""
        flash, room = self._sums(zone, colour)
        return 100 * room / flash

    def lab(self, zone: Zone, lightness: float = 50.0) -> NDArray[np.float64]:
        """Return CIELAB (D50) of a zone's mean light, balanced for the flash and scaled to L* `lightness`."""
        cells = self.cells(self.light)
        return camera.lab_at(cells[:, self._inside(zone, cells.shape[1:])].mean(axis=1), lightness)

    def blur(self, zone: Zone, share: float = 50.0) -> float:
        """Return σ in pixels that `share` % of a zone's surface does not exceed."""
        return float(np.percentile(self.sigma[self._inside(zone, self.sigma.shape)], share))

    def _sums(self, zone: Zone | None, colour: str | None) -> tuple[float, float]:
        flash, room = self.cells(self.flash), self.cells(self.room)
        usable = self._inside(zone, flash.shape[1:]) & ~self.clipped().any(axis=0)
        if colour is not None:
            index = self.cfa.colours.index(colour)
            flash, room = flash[index : index + 1], room[index : index + 1]
        return float(flash[:, usable].sum()), float(room[:, usable].sum())

    def _inside(self, zone: Zone | None, shape: tuple[int, ...]) -> NDArray[np.bool_]:
        size = (shape[0], shape[1])
        return np.ones(size, dtype=bool) if zone is None else zone.mask(size, self.orientation)
