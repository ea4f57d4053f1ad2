"""Where a colour saturates: the tag, or a plateau under it, never a scale.

A tag often lies above the level at which photosites really stop (TRAPS 23). Above it there is then nothing, and at
it a pile: values that would have spread over all brighter light. A pile is a plateau when

* it is the top: nothing connected lies above it, a few scattered hot photosites aside;
* it stands out: its density is several times that just below it;
* it is connected: photosites of one colour side by side;
* it is narrower than photon noise lets an evenly lit surface be: its upper side is what counts, since clipped light
  of a rim lies below. A white sweep at 0.8 of range is a pile too, as wide as its photon noise and two-sided.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.decode.decoded import Decoded
from qc.decode.noise import Blocks
from qc.decode.planes import in_bands, row_planes
from qc.frame import Camera, Kind, Noise, Saturation, SaturationSource
from qc.reading import Finding

Floats = NDArray[np.float64]
Key = tuple[str | None, str | None, float | None, str]
Remembered = Mapping[Key, tuple[Saturation, ...]]
"""Levels found earlier by make and model, serial, ISO and kind; kept by the caller, never here."""

CODES = 65536

FEW = 12
"""Photosites that do not make a plateau yet."""

LOWEST = 0.5
"""A plateau under this part of the tagged range is not believed."""

STANDS_OUT = 4.0
"""Density of a plateau over the density just below it."""

SUB_PHOTON = 0.6
"""A plateau's variance over the variance of an evenly lit surface of its level: at most this."""

WIDEST = 0.0015
"""Where a frame shows no noise at all beside the pile: the widest plateau, as a part of its level. A photosite that
holds 400,000 electrons, more than any camera's, has that photon noise at saturation (1/√N)."""

ENOUGH_BLOCKS = 24
"""Blocks of a frame whose least variance stands in for an unknown noise model."""

NEAR = 0.03
"""A maximum this close under a remembered level may be saturation at another ISO."""

MARGIN = 3.0
"""The threshold lies this many of the plateau's own standard deviations under its middle."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """A plateau of one colour: middle and standard deviation, DN."""

    middle: float
    spread: float

    @property
    def level(self) -> float:
        """The threshold: all of the plateau lies at or above it."""
        return float(np.floor(self.middle - MARGIN * self.spread))


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
    planes: NDArray[np.uint16], decoded: Decoded, black: Floats, remembered: Remembered
) -> tuple[tuple[Saturation, ...], tuple[Finding, ...]]:
    """Return the level of every colour of a linear file, shape of `planes` (colours, rows, columns)."""
    floor = float(black.mean())
    half = floor + LOWEST * (decoded.white - floor)
    flat = [np.ascontiguousarray(plane) for plane in planes]
    counts = np.array([_histogram(plane) for plane in flat])
    joined = np.zeros_like(counts)
    for colour, plane in enumerate(flat):
        seen = _joined(plane, half)
        if seen is not None:
            joined[colour] = seen
    return _decide(decoded, counts, joined, floor, lambda _: None, remembered)


def _histogram(plane: NDArray[np.uint16]) -> Floats:
    if plane.size == 0:
        return np.zeros(CODES)
    return cv2.calcHist([plane], [0], None, [CODES], [0, CODES]).ravel().astype(np.float64)


def _joined(plane: NDArray[np.uint16], least: float) -> Floats | None:
    """Histogram of the smallest of 2×2 neighbours of one position; None when nothing reaches `least`."""
    if min(plane.shape, default=0) < 2 or plane.max() < least:
        return None
    return _histogram(cv2.erode(plane, np.ones((2, 2), np.uint8)))


def lit_variance(noise: Noise, blocks: Blocks, black: float) -> Callable[[float], float | None]:
    """Return a function from a level, DN as stored, to the variance of an evenly lit surface there.

    From the noise model; without one, the least variance that blocks of at least 0.3 of that light have. None
    where neither is known.
    """

    def variance(level: float) -> float | None:
        signal = level - black
        if noise.gain is not None and noise.read_noise is not None:
            return noise.gain * max(0.0, signal) + noise.read_noise**2
        near = (blocks.level > 0.3 * signal) & (blocks.top < 0.97 * level)
        if np.count_nonzero(near) < ENOUGH_BLOCKS:
            return None
        return float(np.percentile(blocks.fine[near], 5.0))

    return variance


def _decide(
    decoded: Decoded,
    counts: Floats,
    joined: Floats,
    black: float,
    variance: Callable[[float], float | None],
    remembered: Remembered,
) -> tuple[tuple[Saturation, ...], tuple[Finding, ...]]:
    key = key_of(decoded.camera, decoded.kind)
    tags = decoded.white_by_colour or (decoded.white,) * len(decoded.colours)
    levels: list[Saturation] = []
    for index, letter in enumerate(decoded.colours):
        tag = min(tags[index], decoded.white)
        kept = next((s for s in remembered.get(key, ()) if s.colour == letter), None)
        others = [
            s.level
            for other, known in remembered.items()
            if other[:2] == key[:2] and other[3] == key[3] and other != key
            for s in known
            if s.colour == letter and s.level is not None and s.source in ("plateau", "remembered")
        ]
        level, source = _level_of(counts[index], joined[index], tag, black, variance, kept, others, decoded.lossy)
        levels.append(Saturation(colour=letter, level=level, source=source))
    return tuple(levels), _said(levels, decoded.white)


def _level_of(
    counts: Floats,
    joined: Floats,
    tag: float,
    black: float,
    variance: Callable[[float], float | None],
    kept: Saturation | None,
    others: list[float],
    lossy: bool,
) -> tuple[float | None, SaturationSource]:
    plateau = find_plateau(counts, joined, tag=tag, black=black, variance=variance)
    if plateau is not None and plateau.level < tag:
        return plateau.level, "plateau"
    if kept is not None and kept.level is not None:
        return min(tag, kept.level), "remembered"
    reaches_tag = counts[min(CODES, int(np.ceil(tag))) :].sum() > 0
    top = _top(joined)
    if plateau is None and not reaches_tag and top is not None and top - black >= LOWEST * (tag - black):
        near = any(abs(top - level) <= NEAR * (level - black) for level in others)
        if near or lossy or (is_comb(counts, top) and _piles_up(counts, top)):
            return None, "unknown"
    return tag, "tag"


def find_plateau(
    counts: Floats,
    joined: Floats,
    *,
    tag: float,
    black: float,
    variance: Callable[[float], float | None],
) -> Plateau | None:
    """Find the plateau of one colour, or None.

    Parameters
    ----------
    counts : ndarray, shape (65536,)
        Photosites of the colour by DN.
    joined : ndarray, shape (65536,)
        2×2 groups of neighbours of one position by their smallest DN: the histogram of connected light.
    tag, black : float
        Tagged white level and black, DN.
    variance : callable
        From a level to the variance of an evenly lit surface there, DN²; None when unknown.

    Returns
    -------
    Plateau or None
        None when the top of the histogram is no pile, is not connected, or is as wide as photon noise.
    """
    top = _top(joined)
    if top is None or top - black < LOWEST * (tag - black):
        return None
    signal = top - black
    first, last = int(top - 0.02 * signal), min(CODES - 1, int(np.ceil(top + 0.002 * signal)))
    window = counts[first : last + 1]
    width = max(1, int(0.0004 * signal))
    smooth = np.convolve(window, np.ones(width), mode="same")
    peak = int(np.argmax(smooth))
    nearby = np.arange(max(0, peak - width), min(len(window), peak + width + 1))
    middle = first + float(_quantile(nearby, window[nearby], 0.5))
    spread = _upper_spread(counts, middle, signal)
    if not _stands_out(counts, middle, spread) or not _is_top(joined, middle, spread):
        return None
    if is_comb(counts, top) and not _piles_up(counts, top):  # every tooth of a comb stands out
        return None
    lit = variance(middle)
    if lit is None:
        return Plateau(middle, spread) if 0 < spread <= WIDEST * signal else None
    # Noise under one step of the converter cannot show what is lit and what is cut.
    return Plateau(middle, spread) if lit >= 1.0 and spread**2 <= SUB_PHOTON * lit else None


def _top(joined: Floats) -> float | None:
    """Return the highest DN that several connected groups reach; None when there are no such groups."""
    reached = np.flatnonzero(np.cumsum(joined[::-1])[::-1] >= FEW // 3)
    return float(reached[-1]) if reached.size else None


def _quantile(values: NDArray[np.intp], weights: Floats, share: float) -> float:
    total = np.cumsum(weights)
    return float(values[np.searchsorted(total, share * total[-1])])


def _upper_spread(counts: Floats, middle: float, signal: float) -> float:
    """Return the standard deviation of what lies above the middle: the 68 % point of a half-normal."""
    start = int(middle)
    above = counts[start : min(CODES, int(start + 0.03 * signal) + 2)].copy()
    above[0] *= 0.5  # half of what stands on the middle belongs to each side
    return _quantile(np.arange(len(above)), above, 0.6827) if above.sum() > 0 else 0.0


def _stands_out(counts: Floats, middle: float, spread: float) -> bool:
    low, high = int(middle - spread), int(np.ceil(middle + spread))
    pile = counts[low : high + 1]
    below_end = int(middle - MARGIN * spread) - 1
    below = counts[max(0, below_end - max(16, int(6 * spread))) : max(1, below_end)]
    expected = float(below.mean()) * len(pile)
    return bool(pile.sum() - expected > FEW and pile.sum() > STANDS_OUT * expected)


def _is_top(joined: Floats, middle: float, spread: float) -> bool:
    above = joined[int(middle + 5 * spread) + 2 :]
    return bool(above.sum() < FEW // 3)


def is_comb(counts: Floats, top: float) -> bool:
    """Tell whether codes are missing regularly up to `top`: values were scaled, or come from a table.

    Codes that many photosites have are followed by one that none has; with noise, never.
    """
    used = np.flatnonzero(counts[: int(top) + 1])
    many = np.flatnonzero(counts[used[:-1]] >= 8)
    return bool(many.size >= 8 and np.median(np.diff(used)[many]) >= 2)


def _piles_up(counts: Floats, top: float) -> bool:
    """Tell whether the highest tooth of a comb stands over the teeth below it."""
    part = counts[: int(top) + 2]
    teeth = part[np.flatnonzero(part)][-9:]
    return bool(len(teeth) == 9 and max(teeth[-2:]) > STANDS_OUT * max(1.0, float(np.median(teeth[:-2]))))


def _said(levels: list[Saturation], white: float) -> tuple[Finding, ...]:
    data = {s.colour: {"level": s.level, "source": s.source} for s in levels}
    words = ", ".join(
        f"{s.colour} {'unknown' if s.level is None else f'{s.level:g} DN'} ({s.source})" for s in levels
    )
    found = [Finding(code="saturation", text=f"saturation: {words}; tagged white level {white:g} DN", data=data)]
    if any(s.level is None for s in levels):
        text = "the level at which the sensor saturates cannot be told from this frame"
        found.append(Finding(code="saturation_unknown", text=text))
    return tuple(found)
