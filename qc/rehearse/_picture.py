"""The picture behind the lens: every piece of the set lit, blurred by its depth, laid over what is behind it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.rehearse._bottle import resize
from qc.rehearse._surface import Plane, Planes, Slice
from qc.rehearse._sweep import PAPER, Sweep
from qc.rehearse.lens import Lens
from qc.rehearse.scene import Scene

STRIP = 64
"""Rows of the sweep that share one blur: depth changes slowly there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Optics:
    """A lens as it is set for one frame.

    Attributes
    ----------
    lens : Lens
        The lens.
    focus : float
        z of the sharp plane, millimetres.
    aperture : float
        f-number.
    columns : int
        Pixels across the picture.
    """

    lens: Lens
    focus: float
    aperture: float
    columns: int

    @property
    def floor(self) -> float:
        """σ of the sharp plane, pixels."""
        return self.lens.floor(aperture=self.aperture, columns=self.columns)

    def sigma(self, depth: Plane) -> NDArray[np.float64]:
        """Return σ at a depth, pixels."""
        return self.lens.sigma(depth, focus=self.focus, aperture=self.aperture, columns=self.columns)


def picture_of(scene: Scene, optics: Optics, powers: Planes) -> Planes:
    """Return the upright picture.

    Parameters
    ----------
    scene : Scene
        The set.
    optics : Optics
        The lens.
    powers : ndarray of float32, shape (lights, colours)
        Camera RGB of each light on a white surface; several mixtures side by side, three columns each.

    Returns
    -------
    ndarray of float32, shape (rows, columns, colours)
    """
    picture = _sweep(scene.sweep, (scene.view.rows, scene.view.columns), optics, powers)
    for whole in scene.slices:
        spread = optics.sigma(whole.depth[whole.cover > 0]).max(initial=optics.floor)
        piece = whole.close_up(int(np.ceil(4 * spread)) + 1)
        blurred = optics.lens.blur_by_depth(_layers(piece, powers), optics.sigma(piece.depth), optics.floor)
        under = picture[piece.window]
        under *= 1 - blurred[..., -1:]
        under += blurred[..., :-1]
    return picture


def sigma_map(scene: Scene, optics: Optics) -> Plane:
    """Return σ of the nearest surface on every eighth pixel of the upright picture."""
    rows, columns = scene.view.rows, scene.view.columns
    depth = np.broadcast_to(scene.sweep.depth[:, np.newaxis], (rows, columns)).copy()
    for piece in scene.slices:
        solid = piece.cover > 0.5
        depth[piece.window][solid] = piece.depth[solid]
    return optics.sigma(depth[4 : rows // 8 * 8 : 8, 4 : columns // 8 * 8 : 8]).astype(np.float32)


def _layers(piece: Slice, powers: Planes) -> Planes:
    """Return the light of a piece where it covers, and its cover as the last plane."""
    body = _mixed(piece.diffuse, powers)
    for mixture in range(0, powers.shape[1], 3):
        body[..., mixture : mixture + 3] *= piece.albedo
    if piece.gloss is not None:
        body += _mixed(piece.gloss, powers)
    layers = np.empty((*piece.cover.shape, powers.shape[1] + 1), dtype=np.float32)
    np.multiply(body, piece.cover[..., np.newaxis], out=layers[..., :-1])
    layers[..., -1] = piece.cover
    return layers


def _sweep(sweep: Sweep, size: tuple[int, int], optics: Optics, powers: Planes) -> Planes:
    colour = _mixed(sweep.diffuse, powers) * np.tile(PAPER, powers.shape[1] // 3)
    mixtures = [resize(colour[..., at : at + 3], size) for at in range(0, powers.shape[1], 3)]
    light = np.concatenate(mixtures, axis=2)
    sigma = optics.sigma(sweep.depth)
    for row in range(0, len(sigma), STRIP):
        middle = float(np.sqrt((sigma[row : row + STRIP] ** 2).mean()))
        room = int(np.ceil(4 * middle)) + 1
        first = max(row - room, 0)
        blurred = optics.lens.blur(sweep.grain[first : row + STRIP + room], middle, optics.floor)
        light[row : row + STRIP] *= blurred[row - first : row - first + STRIP, :, np.newaxis]
    return light


def _mixed(planes: Planes, powers: Planes) -> Planes:
    """Return light per source, shape (rows, columns, lights), mixed to colours; faster than a thin product."""
    return np.asarray(cv2.transform(planes, np.ascontiguousarray(powers.T)), dtype=np.float32)
