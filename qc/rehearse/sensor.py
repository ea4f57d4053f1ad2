"""A simulated sensor: linear light to raw counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.decode.decoded import Window
from qc.frame import Cfa

Margins = tuple[int, int, int, int]
"""Masked photosites at the top, left, bottom and right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readout:
    """All that a sensor reads out: the mosaic with its masked border.

    Attributes
    ----------
    mosaic : ndarray of uint16, shape (rows, columns)
        DN, margins included.
    visible : Window
        The part that light reaches.
    masked : tuple of Window
        The margins, each that has any width.
    """

    mosaic: NDArray[np.uint16]
    visible: Window
    masked: tuple[Window, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A sensor that answers linearly up to saturation.

    Attributes
    ----------
    black : float
        DN without light, in the picture and in the masked border.
    white : float
        Tagged white level, DN.
    saturation : float, tuple of float or None
        DN at which photosites clip, one for all or one a colour; None for `white`. May lie below the tag.
    gain : float
        K, DN per electron.
    read_noise : float
        Standard deviation without light, DN.
    plateau : float
        Full width of the saturation plateau as a fraction of its height above black; 0 is a sharp one. Each
        photosite has its own level, normally spread with a quarter of the width and cut at two of those.
    margins : (int, int, int, int)
        Masked photosites at the top, left, bottom and right, for `read_out`.
    tagged_black : float or None
        The black that the file states; None for the true one.
    hot : int
        Scattered photosites that always read saturation; their places belong to the sensor, not to the frame.
    """

    black: float = 512.0
    white: float = 16383.0
    saturation: float | tuple[float, ...] | None = None
    gain: float = 0.4
    read_noise: float = 2.5
    plateau: float = 0.0
    margins: Margins = (0, 0, 0, 0)
    tagged_black: float | None = None
    hot: int = 0

    def expose(
        self,
        light: NDArray[np.floating],
        cfa: Cfa,
        rng: np.random.Generator | None,
    ) -> NDArray[np.uint16]:
        """Return the raw mosaic of a scene.

        Parameters
        ----------
        light : ndarray, shape (colours, rows, columns)
            Linear camera light at every photosite; 1 is the tagged white level.
        cfa : Cfa
            Which colour each photosite sees.
        rng : numpy.random.Generator or None
            Source of photon and read noise; None for a noise-free sensor.

        Returns
        -------
        ndarray of uint16, shape (rows, columns)
            DN.
        """
        return self.expose_mosaic(sample(light, cfa), cfa, rng)

    def expose_mosaic(
        self, seen: NDArray[np.floating], cfa: Cfa, rng: np.random.Generator | None
    ) -> NDArray[np.uint16]:
        """Return the raw mosaic of light that has already passed the colour filters, shape (rows, columns)."""
        signal = np.asarray(seen, dtype=np.float32) * np.float32(self.white - self.black)
        if rng is not None:
            # Photon noise is taken as normal: variance = K · signal + read noise² (EMVA 1288 R4, linear model).
            spread = np.sqrt(np.maximum(signal, 0) * np.float32(self.gain) + np.float32(self.read_noise**2))
            signal += rng.standard_normal(signal.shape, dtype=np.float32) * spread
        signal += np.float32(self.black)
        top = self._tops(cfa, signal.shape, rng)
        counts = np.clip(np.rint(signal), 0, np.rint(top)).astype(np.uint16)
        for row, column in self.hot_places(signal.shape):
            counts[row, column] = round(self.level(int(cfa.pattern[row % cfa.shape[0]][column % cfa.shape[1]])))
        return counts

    def read_out(self, seen: NDArray[np.floating], cfa: Cfa, rng: np.random.Generator | None) -> Readout:
        """Return the mosaic of filtered light with its masked border, which holds black and read noise only."""
        top, left, bottom, right = self.margins
        rows, columns = seen.shape
        size = (top + rows + bottom, left + columns + right)
        border = np.full(size, self.black, dtype=np.float32)
        if rng is not None and size != seen.shape:
            border += rng.standard_normal(size, dtype=np.float32) * np.float32(self.read_noise)
        mosaic = np.clip(np.rint(border), 0, self.white).astype(np.uint16)
        mosaic[top : top + rows, left : left + columns] = self.expose_mosaic(seen, cfa, rng)
        windows = (
            (0, 0, top, size[1]),
            (top + rows, 0, bottom, size[1]),
            (top, 0, rows, left),
            (top, left + columns, rows, right),
        )
        masked = tuple(window for window in windows if window[2] and window[3])
        return Readout(mosaic=mosaic, visible=(top, left, rows, columns), masked=masked)

    def level(self, colour: int) -> float:
        """Return the DN at which a colour, by its index, clips."""
        if self.saturation is None:
            return self.white
        return self.saturation[colour] if isinstance(self.saturation, tuple) else self.saturation

    def clipped(self, seen: NDArray[np.floating], cfa: Cfa) -> NDArray[np.bool_]:
        """Return which photosites have noise-free filtered light at or above saturation, hot ones left out."""
        levels = (self._by_photosite(cfa, seen.shape) - self.black) / (self.white - self.black)
        clipped: NDArray[np.bool_] = np.asarray(seen) >= levels
        return clipped

    def hot_places(self, shape: tuple[int, ...]) -> NDArray[np.intp]:
        """Return row and column of the hot photosites, shape (hot, 2); no two within 8 px of each other."""
        rng, places = np.random.default_rng(self.hot), np.empty((0, 2), dtype=np.intp)
        for _ in range(100 * self.hot):
            if len(places) == self.hot:
                break
            place = rng.integers((0, 0), shape)
            if not len(places) or np.abs(places - place).max(axis=1).min() > 8:
                places = np.vstack([places, place])
        return places

    def _by_photosite(self, cfa: Cfa, shape: tuple[int, ...]) -> NDArray[np.float32]:
        levels = np.array([self.level(colour) for colour in range(len(cfa.colours))], dtype=np.float32)
        if len(set(levels.tolist())) == 1:
            return np.broadcast_to(levels[0], shape)
        return levels[_tiled(cfa, (shape[0], shape[1]))]

    def _tops(self, cfa: Cfa, shape: tuple[int, ...], rng: np.random.Generator | None) -> NDArray[np.float32]:
        levels = self._by_photosite(cfa, shape)
        if not self.plateau or rng is None:
            return levels
        step = np.clip(rng.standard_normal(shape, dtype=np.float32), -2, 2) * np.float32(self.plateau / 4)
        return np.minimum(levels + step * (levels - np.float32(self.black)), np.float32(self.white))


def sample(light: NDArray[np.floating], cfa: Cfa) -> NDArray[np.float32]:
    """Return what each photosite sees through its colour filter.

    Parameters
    ----------
    light : ndarray, shape (colours, rows, columns)
        Camera light at every photosite.
    cfa : Cfa
        Colour filters.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
    """
    seen = np.empty(light.shape[1:], dtype=np.float32)
    rows, columns = cfa.shape
    for row in range(rows):
        for column in range(columns):
            seen[row::rows, column::columns] = light[cfa.pattern[row][column], row::rows, column::columns]
    return seen


def _tiled(cfa: Cfa, shape: tuple[int, int]) -> NDArray[np.intp]:
    rows, columns = shape
    return np.tile(cfa.array(), (-(-rows // cfa.shape[0]), -(-columns // cfa.shape[1])))[:rows, :columns]
