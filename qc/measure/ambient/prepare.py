"""From frames to a pair: which are dark, one source of black, scaling for shutter time, did flash fire."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure._tiles import grid
from qc.measure.ambient import says as says
from qc.measure.ambient.light import Pair, below_black, pair_of
from qc.measure.ambient.pair import NEARLY_EQUAL, level, split_by_level
from qc.measure.ambient.tiles import Tiles
from qc.reading import Finding, Reason
from qc.settings import differing, not_scalable, shutter_scaling

EXPOSED = 1 / 8
"""Part of the tagged white level that the brightest hundredth of an exposed frame reaches: three stops under it.
Two frames alike and this bright were both lit; alike and darker, neither was. Our own choice."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """A pair, its fine tiles and tiles of 3 × 3 of them, a pair for each further lit frame, and what to say."""

    pair: Pair
    fine: Tiles
    tiles: Tiles
    further: tuple[Pair, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Equal:
    """Lit and dark frame are too much alike; `useless` when there is nothing left to measure."""

    finding: Finding
    useless: bool


def prepare(lit: Frame, companions: Sequence[Frame]) -> Prepared | Reason:
    """Tell dark from further lit companions and make them comparable.

    Returns
    -------
    Prepared or Reason
        ``settings_differ`` when no dark frame was shot with the lit frame's aperture and ISO and a shutter time
        within one stop.
    """
    darks, further = _roles(lit, companions)
    refused = {i: why for i, dark in enumerate(darks) if (why := not_scalable(lit.camera, dark.camera))}
    darks = tuple(dark for i, dark in enumerate(darks) if i not in refused)
    if not darks:
        why = next(iter(refused.values()))
        return Reason("settings_differ", f"{why}: the dark frame must be shot with the settings of the lit one")
    further = tuple(frame for frame in further if not differing(lit.camera, frame.camera))
    findings = says.scaled([shutter_scaling(lit.camera, dark.camera) for dark in darks], darks)
    shifts, black, mixed = _one_black((lit, *darks))
    pair = _pair(lit, darks, shifts, black)
    if mixed:
        text = "only some of the frames have masked pixels: the tagged black is used for all, with a wider ±"
        findings.append(Finding(code="black_sources_differ", text=text, data={"dn": round(black * lit.scale, 3)}))
    fine = pair.tiles(_fine_grid(lit))
    tiles = fine.coarser()
    if (below := below_black(tiles)) > pair.black_error:
        pair = replace(pair, black_error=below)
        dn = below * lit.scale
        text = f"the dark frame lies {dn:.1f} DN below the stated black: black is uncertain by that"
        findings.append(Finding(code="below_black", text=text, data={"dn": round(dn, 3)}))
    others = []
    for frame in further:
        moved, error, _ = _one_black((frame, *darks))
        others.append(_pair(frame, darks, moved, error))
    return Prepared(pair, fine, tiles, tuple(others), tuple(findings))


def _fine_grid(lit: Frame) -> tuple[int, int]:
    """Rows and columns of fine tiles: three to a side of a tile, never finer than cells."""
    rows, columns = lit.cells.shape[1:]
    tiles = grid((rows, columns), smallest=4 if min(rows, columns) < 64 else 8)
    return 3 * max(1, min(tiles[0], rows // 3)), 3 * max(1, min(tiles[1], columns // 3))


def _pair(lit: Frame, darks: tuple[Frame, ...], shifts: NDArray[np.float64], black: float) -> Pair:
    return pair_of(lit, darks, tuple(shutter_scaling(lit.camera, dark.camera) for dark in darks), shifts, black)


def _roles(lit: Frame, companions: Sequence[Frame]) -> tuple[tuple[Frame, ...], tuple[Frame, ...]]:
    if len(companions) == 1:
        return tuple(companions), ()
    dark = split_by_level([level(lit), *(level(frame) for frame in companions)])
    darks = tuple(frame for i, frame in enumerate(companions, start=1) if i in dark)
    return darks, tuple(frame for i, frame in enumerate(companions, start=1) if i not in dark)


def _one_black(frames: tuple[Frame, ...]) -> tuple[NDArray[np.float64], float, bool]:
    """Return what to add to each frame's light, shape (frames, colours), and one standard error of black.

    Frames that all have masked pixels keep their own black: it was measured in that exposure. Where only some
    have, the tag is used for all, and how far it lies from masked pixels where there are any is its uncertainty.
    """
    unit = frames[0].scale
    error = max(frame.black.uncertainty for frame in frames) / unit
    shifts = np.zeros((len(frames), len(frames[0].colours)))
    sources = {frame.black.source for frame in frames}
    if "masked pixels" not in sources or len(sources) == 1:
        return shifts, error, False
    tagged = _black_by_colour(next(frame for frame in frames if frame.black.source != "masked pixels"))
    for i, frame in enumerate(frames):
        if frame.black.source == "masked pixels":
            shifts[i] = (_black_by_colour(frame) - tagged) / frame.scale
            error = max(error, float(np.abs(shifts[i]).max()))
    return shifts, error, True


def _black_by_colour(frame: Frame) -> NDArray[np.float64]:
    """Mean black of each colour, DN."""
    levels = frame.black.array()
    if frame.cfa is None:
        return (
            np.broadcast_to(levels.reshape(-1), (len(frame.colours),))
            if levels.size > 1
            else np.full(len(frame.colours), float(levels.mean()))
        )
    rows, columns = (np.lcm(a, b) for a, b in zip(levels.shape, frame.cfa.shape, strict=True))
    pattern = np.tile(frame.cfa.array(), (rows // frame.cfa.shape[0], columns // frame.cfa.shape[1]))
    repeated = np.tile(levels, (rows // levels.shape[0], columns // levels.shape[1]))
    return np.array([repeated[pattern == c].mean() for c in range(len(frame.colours))])


def equal_light(pair: Pair, tiles: Tiles) -> Equal | None:
    """Tell whether the dark frame holds flash, or the lit frame none; None for a good pair."""
    where = tiles.open()
    colour = pair.colour
    exposed = tiles.clipped or float(np.percentile(tiles.lit[colour], 99.0)) >= EXPOSED
    if not where.any():
        return None
    light = pair.light(tiles, where)
    flash, ambient = float(light.flash[colour]), float(light.ambient[colour])
    lit = flash + ambient
    if lit < NEARLY_EQUAL * ambient or flash < 2.0 * float(light.flash_error[colour]):
        data = {"lit_over_dark_stops": round(float(np.log2(lit / ambient)), 3) if min(lit, ambient) > 0 else None}
        if exposed:
            text = "the dark frame is as bright as the lit one: the flash fired in it; switch the trigger off"
            return Equal(Finding(code="flash_in_dark", text=text, data=data), useless=True)
        text = "the lit frame is no brighter than the dark one: the flash did not fire"
        return Equal(Finding(code="no_flash_in_lit", text=text, data=data), useless=True)
    data = {"stops_under": round(float(np.log2(flash / max(ambient, 1e-9))), 2)}
    dark_exposed = float(np.percentile(tiles.dark[colour], 99.0)) >= EXPOSED
    if flash < ambient and dark_exposed:
        text = "the dark frame holds more light than the flash adds: did the flash fire in it?"
        return Equal(Finding(code="flash_in_dark", text=text, data=data), useless=False)
    return None
