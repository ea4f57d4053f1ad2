"""Where each colour saturates: the tag, a plateau under it, or a level remembered; a threshold, never a scale."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.decode.decoded import Decoded
from qc.decode.noise import Blocks
from qc.decode.planes import in_bands, row_planes
from qc.decode.plateau import CODES, LOWEST, Lit, Plateau, agreed, find_plateau, is_comb, piles_up, top_of
from qc.frame import Camera, Kind, Noise, Saturation
from qc.reading import Finding

Floats = NDArray[np.float64]
Key = tuple[str | None, str | None, float | None, str]
Remembered = Mapping[Key, tuple[Saturation, ...]]
"""Levels found earlier by make and model, serial, ISO and kind; kept by the caller, never here."""

ENOUGH_BLOCKS = 24
"""Blocks of a frame whose least variance stands in for an unknown noise model."""

FROZEN = 0.9
"""Share of a colour's photosites at one code above which the frame shows neither light nor noise."""

NEAR = 0.03
"""A maximum this close under a remembered level may be saturation at another ISO."""


def key_of(camera: Camera, kind: Kind) -> Key:
    """Return what a saturation level is remembered by: body, ISO and kind of file."""
    body = None if camera.model is None else f"{camera.make or ''} {camera.model}".strip()
    return (body, camera.serial, camera.iso, kind)


def saturation_of_mosaic(
    mosaic: NDArray[np.uint16],
    decoded: Decoded,
    black: Floats,
    noise: Noise,
    blocks: Blocks,
    remembered: Remembered,
) -> tuple[tuple[Saturation, ...], tuple[Finding, ...]]:
    """Return the level of every colour of a mosaic, and the finding that says where it comes from.

    Parameters
    ----------
    mosaic : ndarray of uint16, shape (rows, columns)
        Visible photosites, DN.
    decoded : Decoded
        Tags.
    black : ndarray
        Black by position, DN.
    noise : Noise
        Of this frame, or unknown.
    blocks : Blocks
        Sample of the frame, for the least noise where `noise` is unknown.
    remembered : mapping
        Levels found earlier.
    """
    assert decoded.cfa is not None
    pattern = decoded.cfa.array()
    floor = float(black.mean())
    counts = np.zeros((len(decoded.colours), CODES))
    joined = np.zeros_like(counts)
    half = floor + LOWEST * (decoded.white - floor)
    shape = (pattern.shape[0], pattern.shape[1])
    found: dict[int, list[tuple[int, Floats, Floats | None]]] = {}

    def look(start: int, stop: int) -> None:
        for row in range(start, stop):
            planes = row_planes(mosaic, row, shape)
            found[row] = [
                (int(pattern[row, x]), _histogram(plane), _joined(plane, half)) for x, plane in enumerate(planes)
            ]

    in_bands(pattern.shape[0], 1, look)
    for colour, all_of_it, connected in (entry for row in range(pattern.shape[0]) for entry in found[row]):
        counts[colour] += all_of_it
        if connected is not None:
            joined[colour] += connected
    return _decide(decoded, counts, joined, floor, lit_variance(noise, blocks, floor), remembered)


def saturation_of_pixels(
    planes: NDArray[Any], decoded: Decoded, black: Floats, remembered: Remembered
) -> tuple[tuple[Saturation, ...], tuple[Finding, ...]]:
    """Return the level of every colour of a linear file, shape of `planes` (colours, rows, columns)."""
    floor = float(black.mean())
    half = floor + LOWEST * (decoded.white - floor)
    flat = [np.ascontiguousarray(plane, dtype=np.uint16) for plane in planes]
    counts = np.array([_histogram(plane) for plane in flat])
    joined = np.zeros_like(counts)
    for colour, plane in enumerate(flat):
        seen = _joined(plane, half)
        if seen is not None:
            joined[colour] = seen
    return _decide(decoded, counts, joined, floor, lambda _: Lit(None, modelled=False), remembered)


def _histogram(plane: NDArray[np.uint16]) -> Floats:
    if plane.size == 0:
        return np.zeros(CODES)
    return cv2.calcHist([plane], [0], None, [CODES], [0, CODES]).ravel().astype(np.float64)


def _joined(plane: NDArray[np.uint16], least: float) -> Floats | None:
    """Return the histogram of neighbours, beside or under each other, by the smaller; None if all are low."""
    if min(plane.shape, default=0) < 2 or plane.max() < least:
        return None
    here, beside, under = plane[:-1, :-1], plane[:-1, 1:], plane[1:, :-1]
    pair = cv2.min(here, cv2.max(beside, under))
    return _histogram(np.asarray(pair, dtype=np.uint16).reshape(here.shape))


def lit_variance(noise: Noise, blocks: Blocks, black: float) -> Callable[[float], Lit]:
    """Return a function from a level, DN as stored, to the variance of an evenly lit surface there.

    From the noise model; without one, the least variance that blocks of at least 0.3 of that light have.
    """

    def variance(level: float) -> Lit:
        signal = level - black
        if noise.gain is not None and noise.read_noise is not None:
            return Lit(noise.gain * max(0.0, signal) + noise.read_noise**2, modelled=True)
        near = (blocks.level > 0.3 * signal) & (blocks.top < 0.97 * level)
        least = float(np.percentile(blocks.fine[near], 5.0)) if np.count_nonzero(near) >= ENOUGH_BLOCKS else None
        return Lit(least, modelled=False)

    return variance


def _decide(
    decoded: Decoded,
    counts: Floats,
    joined: Floats,
    black: float,
    variance: Callable[[float], Lit],
    remembered: Remembered,
) -> tuple[tuple[Saturation, ...], tuple[Finding, ...]]:
    key = key_of(decoded.camera, decoded.kind)
    tags = decoded.white_by_colour or (decoded.white,) * len(decoded.colours)
    levels: list[Saturation] = []
    lowered = [min(tag, decoded.white) for tag in tags]
    found = [
        find_plateau(c, j, tag=tag, black=black, variance=variance)
        for c, j, tag in zip(counts, joined, lowered, strict=True)
    ]
    plateaus = agreed(found)
    for index, letter in enumerate(decoded.colours):
        tag = lowered[index]
        # A body that the file does not name cannot be told from another: nothing is remembered of it.
        kept = next((s for s in remembered.get(key, ()) if key[0] is not None and s.colour == letter), None)
        others = [
            s.level
            for other, known in remembered.items()
            if key[0] is not None and other[:2] == key[:2] and other[3] == key[3] and other != key
            for s in known
            if s.colour == letter and s.level is not None and s.source in ("plateau", "remembered")
        ]
        saturation = partial(Saturation, colour=letter)
        levels.append(
            _level_of(
                saturation, counts[index], joined[index], tag, black, plateaus[index], kept, others, decoded.lossy
            )
        )
    return tuple(levels), _said(levels, decoded.white)


def _level_of(
    saturation: Callable[..., Saturation],
    counts: Floats,
    joined: Floats,
    tag: float,
    black: float,
    plateau: Plateau | None,
    kept: Saturation | None,
    others: list[float],
    lossy: bool,
) -> Saturation:
    if plateau is not None and plateau.level < tag:
        return saturation(level=plateau.level, source="plateau", width=plateau.width)
    if kept is not None and kept.level is not None:
        return saturation(level=min(tag, kept.level), source="remembered", width=kept.width)
    reaches_tag = counts[min(CODES, int(np.ceil(tag))) :].sum() > 0
    top = top_of(joined)
    if plateau is None and not reaches_tag and top is not None and top - black >= LOWEST * (tag - black):
        near = any(abs(top - level) <= NEAR * (level - black) for level in others)
        # All of a colour at one code, without noise: burnt all over, or no camera's. Never "0 % clipped".
        frozen = counts.max() > FROZEN * counts.sum()
        if near or lossy or frozen or (is_comb(counts, top) and piles_up(counts, top)):
            return saturation(level=None, source="unknown")
    return saturation(level=tag, source="tag", width=0.0 if plateau is not None else None)


def _said(levels: list[Saturation], white: float) -> tuple[Finding, ...]:
    data = {s.colour: {"level": s.level, "source": s.source, "width": s.width} for s in levels}
    words = ", ".join(
        f"{s.colour} {'unknown' if s.level is None else f'{s.level:g} DN'} ({s.source})" for s in levels
    )
    found = [Finding(code="saturation", text=f"saturation: {words}; tagged white level {white:g} DN", data=data)]
    if any(s.level is None for s in levels):
        text = "the level at which the sensor saturates cannot be told from this frame"
        found.append(Finding(code="saturation_unknown", text=text))
    return tuple(found)
