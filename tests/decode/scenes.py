"""Small scenes with known clipping, drawn at random: what the sensor did to each photosite is kept beside it.

Made to check `qc.decode` from outside: nothing in it was chosen to suit the code under test, and the sensor is
its own (not `qc.rehearse.sensor`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_mosaic
from qc.frame import Frame

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A sensor: levels in DN, `under` is how far saturation lies below the tag, `soft` the plateau's full width.

    Both are fractions, of the range and of the height above black. Each photosite has its own level, spread by a
    quarter of the width and cut at two of those.
    """

    black: float = 512.0
    white: float = 16383.0
    under: float = 0.07
    soft: float = 0.0
    gain: float = 0.4
    read: float = 2.5

    @property
    def level(self) -> float:
        """DN at which photosites stop."""
        return float(np.rint(self.black + (1 - self.under) * (self.white - self.black)))

    @property
    def lowest(self) -> float:
        """DN of the lowest photosite's own level."""
        return self.level - self.soft / 2 * (self.level - self.black)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One exposure and the truth about it."""

    body: Body
    cfa: str
    mosaic: NDArray[np.uint16]
    clipped: Bools
    lit: Bools
    """Photosites whose light without noise reaches their own level."""

    def frame(self) -> Frame:
        """Return what is under test."""
        return frame_from_mosaic(self.mosaic, cfa=self.cfa, black=self.body.black, white=self.body.white)

    def areas(self) -> tuple[float, float]:
        """Cells with a photosite that the sensor cut, and cells with one of each colour; % of cells."""
        return areas(self.clipped, self.cfa)

    def alike(self) -> tuple[float, float]:
        """As `areas`, with the uncut photosites that stand among the levels of a soft plateau: none can tell."""
        return areas(self.clipped | (self.mosaic >= np.rint(self.body.lowest)), self.cfa)


def areas(marked: Bools, cfa: str) -> tuple[float, float]:
    rows, columns = (n // 2 for n in marked.shape)
    blocks = marked[: 2 * rows, : 2 * columns].reshape(rows, 2, columns, 2)
    pattern = BAYER[cfa].array()
    seen = [np.any(blocks & (pattern == c)[np.newaxis, :, np.newaxis, :], axis=(1, 3)) for c in range(3)]
    return 100 * float(np.any(seen, axis=0).mean()), 100 * float(np.all(seen, axis=0).mean())


def measured(frame: Frame) -> tuple[float, float]:
    """Clipped and burnt area of a frame, % of cells."""
    seen = frame.clip > 0
    return 100 * float(seen.any(axis=0).mean()), 100 * float(seen.all(axis=0).mean())


def expose(body: Body, light: Floats, cfa: str, rng: np.random.Generator, *, noise: bool = True) -> Shot:
    """Expose light, shape (3, rows, columns), where 1 is the light at saturation."""
    rows, columns = light.shape[1:]
    which = np.tile(BAYER[cfa].array(), (rows // 2 + 1, columns // 2 + 1))[:rows, :columns]
    height = body.level - body.black
    seen = np.take_along_axis(light, which[np.newaxis], axis=0)[0] * height
    signal = seen.copy()
    if noise:
        # Poisson counts are drawn as such, so that dim light has their skew too
        signal = rng.poisson(np.maximum(seen, 0) / body.gain) * body.gain + rng.normal(0, body.read, seen.shape)
    spread = np.clip(rng.standard_normal(seen.shape), -2, 2) * (body.soft / 4 * height)
    top = np.minimum(height + spread, body.white - body.black)
    mosaic = np.clip(np.rint(np.minimum(signal, top) + body.black), 0, body.white).astype(np.uint16)
    return Shot(body=body, cfa=cfa, mosaic=mosaic, clipped=signal >= top, lit=seen >= top)


def a_body(rng: np.random.Generator, *, under: float | None = None, soft: float | None = None) -> Body:
    """Draw a sensor: 12 or 14 bit, 0.1 to 2 DN per electron."""
    fourteen = rng.random() < 0.6
    white, black = (
        (16383.0, rng.choice([0.0, 512.0, 1024.0])) if fourteen else (4095.0, rng.choice([128.0, 256.0]))
    )
    gain = float(np.exp(rng.uniform(np.log(0.1), np.log(2.0))))
    if under is None:
        under = float(rng.choice([0.0, 0.03, 0.07, 0.2]))
    if soft is None:
        soft = float(rng.choice([0.0, 0.0, 0.001, 0.002, 0.005]))
    read = float(rng.uniform(1.0, 4.0)) * gain**0.5 * 2
    return Body(black=float(black), white=white, under=under, soft=soft, gain=gain, read=read)


def grid(shape: tuple[int, int]) -> tuple[Floats, Floats]:
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float64)
    return y / shape[0], x / shape[1]


def base(rng: np.random.Generator, shape: tuple[int, int], top: float = 0.5) -> Floats:
    """Even light that varies slowly, from deep shadow to `top`."""
    y, x = grid(shape)
    angle = rng.uniform(0, 2 * np.pi)
    ramp = (np.cos(angle) * (x - 0.5) + np.sin(angle) * (y - 0.5)) / 1.42 + 0.5
    return 0.004 + top * ramp ** rng.uniform(1.0, 2.5)


def blurred(light: Floats, sigma: float) -> Floats:
    return np.asarray(cv2.GaussianBlur(light, (0, 0), sigma), dtype=np.float64)


def _box(rng: np.random.Generator, shape: tuple[int, int], low: int, high: int) -> tuple[slice, slice]:
    h, w = (int(rng.integers(low, high)) for _ in range(2))
    y, x = (int(rng.integers(0, n - m)) for n, m in zip(shape, (h, w), strict=True))
    return slice(y, y + h), slice(x, x + w)


def patches(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Flat burnt patches, of 1.05 to 3 times saturation."""
    light = base(rng, shape)
    for _ in range(int(rng.integers(1, 5))):
        light[_box(rng, shape, 12, 140)] = rng.uniform(1.05, 3.0)
    return blurred(light, rng.uniform(0.5, 1.2))


def shallow(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """A gradient over the whole frame that runs into saturation."""
    _, x = grid(shape)
    return rng.uniform(0.02, 0.5) + rng.uniform(0.75, 1.0) * x ** rng.uniform(0.7, 2.0) + 0.05 * base(rng, shape)


def steep(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Gradients of 10 to 80 px into saturation."""
    y, x = grid(shape)
    width = rng.uniform(10, 80) / shape[1]
    wave = 0.03 * np.sin(2 * np.pi * y * rng.uniform(1, 4))
    return base(rng, shape, 0.35) + rng.uniform(0.9, 3.0) / (
        1 + np.exp(-(x - rng.uniform(0.6, 0.95) - wave) / width * 4)
    )


def gloss(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Lobes and rims of many widths."""
    y, x = (g * n for g, n in zip(grid(shape), shape, strict=True))
    light = base(rng, shape, 0.4)
    for _ in range(int(rng.integers(3, 14))):
        cy, cx = rng.uniform(0, shape[0]), rng.uniform(0, shape[1])
        peak, width = np.exp(rng.uniform(np.log(0.5), np.log(20))), np.exp(rng.uniform(np.log(1.0), np.log(40)))
        across = np.hypot(y - cy, (x - cx) * rng.uniform(0.3, 1.0))
        if rng.random() < 0.4:
            across = np.abs(np.hypot(y - cy, x - cx) - rng.uniform(30, 150))
        light += peak * np.exp(-0.5 * (across / width) ** 2)
    return light


def sweep(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """A white sweep at 0.5 to 0.98 of saturation."""
    light = base(rng, shape, 0.4)
    y, _ = grid(shape)
    level, edge = rng.uniform(0.5, 0.98), rng.uniform(0.2, 0.9)
    fall = 1 - rng.choice([0.0, 0.002, 0.02]) * grid(shape)[1]
    return np.asarray(np.where(y < edge, level * fall, light), dtype=np.float64)


def sweep_with_glints(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """A white sweep under saturation, and burnt glints."""
    light = np.minimum(sweep(rng, shape), 0.95)
    for _ in range(int(rng.integers(3, 12))):
        light[_box(rng, shape, 3, 30)] = rng.uniform(1.2, 6.0)
    return blurred(light, rng.uniform(0.5, 1.0))


def texture(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Cloth, half of it around saturation."""
    y, x = grid(shape)
    period = rng.uniform(3, 30)
    weave = np.sin(2 * np.pi * x * shape[1] / period) * np.sin(2 * np.pi * y * shape[0] / period)
    grain = blurred(rng.standard_normal(shape), rng.uniform(0.5, 2.0))
    light = rng.uniform(0.3, 0.9) + rng.uniform(0.2, 0.5) * x
    return np.asarray(
        light * (1 + rng.uniform(0.05, 0.25) * weave + rng.uniform(0, 0.2) * grain), dtype=np.float64
    )


def low_key(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """A dark frame with a few glints."""
    light = base(rng, shape, 0.06)
    for _ in range(int(rng.integers(2, 8))):
        light[_box(rng, shape, 2, 14)] = rng.uniform(1.5, 12.0)
    return blurred(light, rng.uniform(0.5, 1.5))


def printed_white(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """The brightest tone is a flat printed white."""
    level = rng.uniform(0.5, 0.97)
    light = base(rng, shape, 0.6 * level)
    for _ in range(int(rng.integers(1, 6))):
        light[_box(rng, shape, 20, 200)] = level
    return blurred(light, rng.uniform(0.5, 1.0))


def ramp_under(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """A gradient that ends at 0.5 to 0.97 of saturation."""
    return rng.uniform(0.5, 0.97) * grid(shape)[1] ** rng.uniform(0.5, 2.0)


def soft_glow_under(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Lobes whose smooth tops stay under saturation."""
    light = gloss(rng, shape)
    return np.asarray(light / light.max() * rng.uniform(0.5, 0.95), dtype=np.float64)


def texture_under(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Cloth that stays under saturation."""
    light = texture(rng, shape)
    return np.asarray(light / light.max() * rng.uniform(0.5, 0.97), dtype=np.float64)


Scene = Callable[[np.random.Generator, tuple[int, int]], Floats]
CLIPPED: dict[str, Scene] = {
    s.__name__: s for s in (patches, shallow, steep, gloss, sweep_with_glints, texture, low_key)
}
UNCLIPPED: dict[str, Scene] = {
    s.__name__: s for s in (sweep, printed_white, ramp_under, soft_glow_under, texture_under)
}


def a_shot(
    scene: Scene,
    seed: int,
    *,
    shape: tuple[int, int] = (600, 840),
    under: float | None = None,
    soft: float | None = None,
    balance: tuple[float, float, float] | None = None,
) -> Shot:
    """Draw a body, a phase, a balance of colours and a scene from one seed, and expose them."""
    rng = np.random.default_rng(seed)
    body = a_body(rng, under=under, soft=soft)
    if balance is None:
        balances = [(1.0, 1.0, 1.0), (0.6, 1.0, 0.8), (0.45, 1.0, 0.7), (1.0, 0.5, 0.3), (0.98, 1.0, 0.99)]
        balance = balances[int(rng.integers(len(balances)))]
    light = scene(rng, shape)
    planes = np.stack([light * share for share in balance])
    return expose(body, planes, str(rng.choice(list(BAYER))), rng)
