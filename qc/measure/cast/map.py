"""The cast over a backdrop, tile by tile."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qc.frame import Counts, Frame
from qc.measure._colour import camera_to_xyz_d50, lab, xyz_of_lab
from qc.measure._tiles import grid, tile_means
from qc.measure.cast.values import NEUTRAL_LIGHTNESS
from qc.reading import Reason, TileMap, Unit
from qc.sheet.zones import Zone, union_mask

WORST_ERROR = 0.02
"""Two relative standard errors of a tile's darkest colour up to which the tile is shown. Our own choice: about one
CIELAB unit at L* 50 (1 % of red, green or blue there is 0.2 to 0.4 unit of chroma)."""

DARKEST = 0.002
"""Light of a tile's darkest colour from which it is shown when the noise is not known."""

_WHOLE = 0.999


def backdrop_map(frame: Frame, backdrops: Sequence[Zone], clipped_cells: Counts) -> TileMap | None:
    """Return the chroma of every tile that lies wholly in a backdrop, against neutral at L* 50.

    Parameters
    ----------
    frame : Frame
        The capture.
    backdrops : sequence of Zone
        Zones of that role.
    clipped_cells : ndarray of uint8, shape of a plane of `Frame.cells`
        Above 0 where a cell holds a clipped photosite; such tiles are left out.

    Returns
    -------
    TileMap or None
        NaN where a tile says nothing; None when no tile says anything.
    """
    matrix = camera_to_xyz_d50(frame.colour)
    if not backdrops or isinstance(matrix, Reason) or matrix.shape[1] != len(frame.colours):
        return None
    shape = frame.cells.shape[1], frame.cells.shape[2]
    tiles = grid(shape)
    usable = tile_means(union_mask(backdrops, shape, frame.orientation).view(np.uint8), tiles) >= _WHOLE
    if not usable.any():
        return None
    usable &= tile_means(clipped_cells, tiles) <= 0
    light = np.stack([tile_means(plane, tiles) for plane in frame.cells]).astype(np.float64)
    usable &= light.min(axis=0) > _darkest(frame, tiles)
    xyz = np.moveaxis(np.tensordot(matrix, light, axes=1), 0, -1)
    usable &= xyz.min(axis=-1) > 0
    if not usable.any():
        return None
    scale = xyz_of_lab((NEUTRAL_LIGHTNESS, 0.0, 0.0))[1] / xyz[usable][:, 1]
    found = lab(xyz[usable] * scale[:, np.newaxis])
    values = np.full(tiles, np.nan, dtype=np.float32)
    values[usable] = np.hypot(found[:, 1], found[:, 2])
    return TileMap(name="cast.chroma", unit=Unit.LAB, values=values, low=0.0)


def _darkest(frame: Frame, tiles: tuple[int, int]) -> float:
    """Least light of a tile's darkest colour at which its error stays under `WORST_ERROR`."""
    lights = np.geomspace(1e-5, 1.0, 200).astype(np.float32)
    variance = frame.variance_of_photosite(lights)
    if variance is None:
        return DARKEST
    cells = frame.cells.shape[1] * frame.cells.shape[2] / (tiles[0] * tiles[1])
    noise = variance / (cells * frame.photosites_per_cell().min())
    error = 2 * np.sqrt(noise + (frame.black.uncertainty / frame.scale) ** 2) / lights
    enough = np.nonzero(error <= WORST_ERROR)[0]
    return float(lights[enough[0]]) if len(enough) else np.inf
