"""Light with and without the flash, tile by tile and pooled, with what noise and black leave open.

Names: `lit` is T, `dark` is A, `flash` is T − A; all in units of the frame's scale, per colour. "±" is two
standard errors. Photon and read noise average down over cells; the black level is one number for the whole
frame and does not: it is added after pooling. The two are independent, so they add in quadrature
(JCGM 100:2008, 5.1.2). What is a bound and not a standard error (rounded shutter marks, the spread of several
dark frames) is added linearly.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts, Frame
from qc.measure.ambient.cells import Hot, hot_cells, left_out
from qc.measure.ambient.noise import CellNoise, cell_noise
from qc.measure.ambient.tiles import Tiles, counting, means_of, share_per_tile, window_of
from qc.sheet.zones import Zone

Array = NDArray[np.float64]

FLOOR = 3.0
"""Ambient light below this many times its ± is at the measuring floor."""

ENOUGH_OF_NINE = 5
"""Usable tiles that a group of 3 × 3 needs."""

VISIBLE = ((10.0 + 16.0) / 116.0) ** 3
"""Light of L* 10 where 1, the tagged white level, is L* 100 (ISO/CIE 11664-4)."""


@dataclass(frozen=True, slots=True)
class Light:
    """Flash and ambient light of one place, or of many at once.

    Attributes
    ----------
    flash, ambient : ndarray, shape (colours, ...)
        Means.
    flash_error, ambient_error : ndarray, shape (colours, ...)
        One standard error by noise.
    black_error : float
        One standard error of the ambient light by the black level, the same for all colours and places.
    doubt : float
        Stops by which all of the ambient light may be off: a bound.
    """

    flash: Array
    ambient: Array
    flash_error: Array
    ambient_error: Array
    black_error: float
    doubt: float = 0.0

    def ambient_pm(self) -> Array:
        """± of the ambient light, shape (colours, ...)."""
        noise = 2.0 * np.hypot(self.ambient_error, self.black_error)
        return noise + np.maximum(self.ambient, 0.0) * (2.0**self.doubt - 1.0)

    def measured(self) -> NDArray[np.bool_]:
        """Where the ambient light stands clear of the measuring floor, shape (colours, ...)."""
        return self.ambient > FLOOR * self.ambient_pm()

    def stops(self) -> Array:
        """Return how many stops ambient light lies under the flash; at the floor, under it at least."""
        shown = np.where(self.measured(), self.ambient, np.maximum(self.ambient, 0.0) + self.ambient_pm())
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.log2(self.flash / shown)

    def stops_pm(self) -> Array:
        """± of `stops` where it is measured. T and A are independent, T − A and A are not."""
        lit = self.flash_error**2 - self.ambient_error**2
        with np.errstate(divide="ignore", invalid="ignore"):
            noise = np.maximum(lit, 0.0) / self.flash**2
            noise = noise + self.ambient_error**2 * (1.0 / self.flash + 1.0 / self.ambient) ** 2
            black = self.black_error**2 / self.ambient**2
            return 2.0 * np.sqrt(noise + black) / np.log(2.0) + self.doubt


@dataclass(frozen=True, slots=True)
class Pair:
    """A lit frame and the dark frames that belong to it, ready to be summed.

    Attributes
    ----------
    lit : Frame
        With flash.
    darks : tuple of Frame
        Without.
    factors : tuple of float
        What each dark frame is multiplied by for its shutter time.
    shifts : ndarray, shape (1 + darks, colours)
        What to add to each frame's light so that black comes from one source.
    black_error : float
        One standard error of the ambient light.
    doubt : float
        Stops, a bound.
    lit_noise, dark_noises : CellNoise
        Of each frame's cells.
    out : ndarray of uint8 or None
        255 at cells that count in no frame, as `left_out` returns.
    hot : Hot
        Cells whose light is taken from around them.
    """

    lit: Frame
    darks: tuple[Frame, ...]
    factors: tuple[float, ...]
    shifts: Array
    black_error: float
    doubt: float
    lit_noise: CellNoise
    dark_noises: tuple[CellNoise, ...]
    out: Counts | None
    hot: Hot

    @property
    def colour(self) -> int:
        """Index of the plane that stops are read from: green, or the first where there is no green."""
        return max(self.lit.colours.find("G"), 0)

    @property
    def stated(self) -> bool:
        """Whether a ± may be stated."""
        return self.lit_noise.stated and all(noise.stated for noise in self.dark_noises)

    def tiles(self, shape: tuple[int, int], zone: Zone | None = None) -> Tiles:
        """Return means over `shape` tiles of the frame, or of the window of a zone."""
        frames = (self.lit, *self.darks)
        window, mask = window_of(self.lit, zone)
        out = None if self.out is None else self.out[window]
        counted = counting(mask, out)
        share = share_per_tile(counted, shape)
        whole = self.lit.cells[0][window].size
        cells = share * whole / (shape[0] * shape[1])
        means = [
            means_of(f, window, counted, share, self.hot) + s[:, None, None]
            for f, s in zip(frames, self.shifts, strict=True)
        ]
        variances = [
            np.stack([noise.at(c, m) for c, m in enumerate(mean)]) / np.maximum(cells, 1.0)
            for noise, mean in zip((self.lit_noise, *self.dark_noises), means, strict=True)
        ]
        scaled = [m * f for m, f in zip(means[1:], self.factors, strict=True)]
        dark_variance = sum(v * f * f for v, f in zip(variances[1:], self.factors, strict=True))
        count = len(self.darks)
        dark = np.mean(scaled, axis=0)
        any_out = out is not None and bool(out.any())
        return Tiles(means[0], dark, variances[0], np.asarray(dark_variance) / count**2, cells, any_out)

    def light(self, tiles: Tiles, where: NDArray[np.bool_]) -> Light:
        """Return the light summed over some tiles."""
        weight = np.where(where, tiles.cells, 0.0)
        weight = weight / max(float(weight.sum()), 1.0)
        squared = weight * weight
        dark = (tiles.dark_variance * squared).sum(axis=(1, 2))
        lit = (tiles.lit_variance * squared).sum(axis=(1, 2))
        return Light(
            flash=(tiles.flash * weight).sum(axis=(1, 2)),
            ambient=(tiles.dark * weight).sum(axis=(1, 2)),
            flash_error=np.sqrt(lit + dark),
            ambient_error=np.sqrt(dark),
            black_error=self.black_error,
            doubt=self.doubt,
        )

    def each(self, tiles: Tiles) -> Light:
        """Return the light of every tile for itself."""
        return Light(
            flash=tiles.flash,
            ambient=tiles.dark,
            flash_error=np.sqrt(tiles.lit_variance + tiles.dark_variance),
            ambient_error=np.sqrt(tiles.dark_variance),
            black_error=self.black_error,
            doubt=self.doubt,
        )

    def groups(self, tiles: Tiles, where: NDArray[np.bool_]) -> tuple[Light, NDArray[np.bool_]]:
        """Return the light of the 3 × 3 tiles around each tile, and where enough of them are usable."""
        weight = np.where(where, tiles.cells, 0.0)
        total = np.maximum(_nine(weight), 1e-9)

        def mean(planes: Array) -> Array:
            return np.stack([_nine(np.where(where, plane * weight, 0.0)) / total for plane in planes])

        def error(planes: Array) -> Array:
            return np.stack([np.sqrt(_nine(np.where(where, p * weight**2, 0.0))) / total for p in planes])

        light = Light(
            flash=mean(tiles.flash),
            ambient=mean(tiles.dark),
            flash_error=error(tiles.lit_variance + tiles.dark_variance),
            ambient_error=error(tiles.dark_variance),
            black_error=self.black_error,
            doubt=self.doubt,
        )
        needed = min(ENOUGH_OF_NINE, where.size)
        return light, where & (_nine(where.astype(np.float64)) >= needed)


def pair_of(
    lit: Frame, darks: tuple[Frame, ...], scaling: tuple[tuple[float, float], ...], shifts: Array, black: float
) -> Pair:
    """Make a pair; `black` is one standard error of the black level, in units of light."""
    known = next((f for f in (lit, *darks) if f.noise.known), None)
    dark_noises = tuple(cell_noise(dark, known) for dark in darks)
    hot = hot_cells(tuple(zip(darks, dark_noises, strict=True)))
    return Pair(
        lit=lit,
        darks=darks,
        # light in units of the lit frame's scale, should the white levels differ
        factors=tuple(
            2.0**stops * dark.scale / lit.scale for (stops, _), dark in zip(scaling, darks, strict=True)
        ),
        shifts=shifts,
        black_error=black * max(2.0**stops for stops, _ in scaling),
        doubt=max(doubt for _, doubt in scaling),
        lit_noise=cell_noise(lit, known),
        dark_noises=dark_noises,
        out=left_out((lit, *darks), hot),
        hot=hot,
    )


def below_black(tiles: Tiles) -> float:
    """Return how far the darkest tiles lie below black beyond their noise: light is never negative."""
    if not tiles.open().any():
        return 0.0
    sure = tiles.dark + 3.0 * np.sqrt(tiles.dark_variance)
    return max(0.0, -float(np.percentile(sure[:, tiles.open()], 2.0)))


def _nine(plane: Array) -> Array:
    """Sum over 3 × 3, nothing beyond the rim."""
    summed = cv2.boxFilter(plane, cv2.CV_64F, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
    return np.maximum(summed, 0.0) if plane.min() >= 0 else np.asarray(summed, dtype=np.float64)
