"""A simulated sensor: linear light to raw counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.frame import Cfa


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A sensor that answers linearly up to saturation.

    Attributes
    ----------
    black : float
        DN without light.
    white : float
        Tagged white level, DN.
    saturation : float or None
        DN at which photosites clip; None for `white`. May lie below the tag.
    gain : float
        K, DN per electron.
    read_noise : float
        Standard deviation without light, DN.
    """

    black: float = 512.0
    white: float = 16383.0
    saturation: float | None = None
    gain: float = 0.4
    read_noise: float = 2.5

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
        _, rows, columns = light.shape
        index = np.tile(cfa.array(), (-(-rows // cfa.shape[0]), -(-columns // cfa.shape[1])))[:rows, :columns]
        seen = np.take_along_axis(light, index[np.newaxis], axis=0)[0]
        signal = seen * (self.white - self.black)
        if rng is not None:
            electrons = np.maximum(signal, 0.0) / self.gain
            signal = rng.normal(signal, np.sqrt(electrons * self.gain**2 + self.read_noise**2))
        top = self.white if self.saturation is None else self.saturation
        return np.clip(np.rint(signal + self.black), 0, top).astype(np.uint16)
