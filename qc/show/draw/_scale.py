"""The scale of tile maps: colours in even steps of lightness, and the bar that explains them."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from qc.reading import TileMap
from qc.show.draw import _text
from qc.show.draw._canvas import Picture, blank
from qc.show.palette import QUIET, TEXT

NODES: Final = np.array(
    [
        [0.0315, 0.2010, 0.4219],
        [0.0854, 0.2066, 0.4325],
        [0.1244, 0.2121, 0.4427],
        [0.1581, 0.2173, 0.4524],
        [0.1891, 0.2224, 0.4616],
        [0.2184, 0.2272, 0.4703],
        [0.2467, 0.2318, 0.4784],
        [0.2743, 0.2363, 0.4859],
        [0.3014, 0.2405, 0.4927],
        [0.3281, 0.2446, 0.4989],
        [0.3545, 0.2485, 0.5045],
        [0.3806, 0.2524, 0.5094],
        [0.4064, 0.2561, 0.5135],
        [0.4320, 0.2598, 0.5170],
        [0.4573, 0.2634, 0.5197],
        [0.4824, 0.2671, 0.5217],
        [0.5071, 0.2709, 0.5230],
        [0.5316, 0.2747, 0.5234],
        [0.5561, 0.2785, 0.5227],
        [0.5804, 0.2824, 0.5210],
        [0.6044, 0.2865, 0.5184],
        [0.6278, 0.2910, 0.5148],
        [0.6507, 0.2960, 0.5105],
        [0.6728, 0.3015, 0.5054],
        [0.6941, 0.3077, 0.4998],
        [0.7144, 0.3146, 0.4937],
        [0.7339, 0.3223, 0.4873],
        [0.7523, 0.3308, 0.4807],
        [0.7698, 0.3401, 0.4741],
        [0.7862, 0.3501, 0.4677],
        [0.8017, 0.3609, 0.4615],
        [0.8164, 0.3722, 0.4557],
        [0.8301, 0.3842, 0.4505],
        [0.8432, 0.3966, 0.4457],
        [0.8557, 0.4093, 0.4412],
        [0.8675, 0.4225, 0.4369],
        [0.8788, 0.4360, 0.4329],
        [0.8895, 0.4498, 0.4292],
        [0.8996, 0.4639, 0.4257],
        [0.9091, 0.4783, 0.4226],
        [0.9182, 0.4929, 0.4199],
        [0.9267, 0.5078, 0.4175],
        [0.9346, 0.5229, 0.4154],
        [0.9420, 0.5382, 0.4138],
        [0.9489, 0.5536, 0.4127],
        [0.9553, 0.5693, 0.4120],
        [0.9612, 0.5851, 0.4119],
        [0.9665, 0.6010, 0.4123],
        [0.9714, 0.6171, 0.4133],
        [0.9756, 0.6334, 0.4151],
        [0.9791, 0.6498, 0.4180],
        [0.9821, 0.6663, 0.4221],
        [0.9845, 0.6829, 0.4272],
        [0.9865, 0.6996, 0.4335],
        [0.9881, 0.7162, 0.4410],
        [0.9893, 0.7328, 0.4496],
        [0.9903, 0.7494, 0.4593],
        [0.9910, 0.7659, 0.4700],
        [0.9916, 0.7823, 0.4818],
        [0.9921, 0.7986, 0.4946],
        [0.9925, 0.8147, 0.5083],
        [0.9929, 0.8307, 0.5229],
        [0.9934, 0.8466, 0.5383],
        [0.9940, 0.8623, 0.5545],
        [0.9947, 0.8779, 0.5713],
    ]
)
"""sRGB 0–1 of 65 points of a path through CIELAB (D65), lightness even from L* 22 to 90, hue turning from blue
over rose to straw (285°, 325°, 15°, 55°, 90° at the quarters), chroma 38, 44, 48, 50, 42; between them monotone
cubic curves. Computed once with colour-science (`Lab_to_XYZ`, `XYZ_to_sRGB`); `tests/show/test_draw_scale.py`
checks that the steps are even."""

_BAR = (440, 20)


def scale_colours(count: int) -> NDArray[np.float64]:
    """Return colours of the scale at even distances, shape (count, 3), sRGB 0–1, darkest first."""
    return colours_at(np.linspace(0.0, 1.0, count))


def colours_at(place: NDArray[np.floating]) -> NDArray[np.float64]:
    """Return the colour at places of the scale, 0 to 1; beyond the ends is the end. Shape (..., 3)."""
    at = np.linspace(0.0, 1.0, len(NODES))
    return np.stack([np.interp(place, at, NODES[:, channel]) for channel in range(3)], axis=-1)


def ends(tile_map: TileMap) -> tuple[float, float, int]:
    """Return the ends of a map's scale and the decimals its labels need.

    The map's own ends where it has them, else its 2nd and 98th percentile, rounded as labelled, so that the
    labels are true. A map of one value gets a scale around it; one of no values 0 to 1.
    """
    values = tile_map.values[np.isfinite(tile_map.values)]
    low, high = np.percentile(values, (2, 98)) if values.size else (0.0, 1.0)
    low = low if tile_map.low is None else tile_map.low
    high = high if tile_map.high is None else tile_map.high
    if high - low <= 1e-6 * max(abs(low), abs(high), 1e-30):
        middle, half = (low + high) / 2, max(abs(low + high) * 0.05, 1e-3)
        low, high = middle - half, middle + half
    decimals = max(0, int(np.ceil(1.0 - np.log10(high - low))))
    return round(float(low), decimals), round(float(high), decimals), decimals


def middle_text(low: float, high: float, decimals: int) -> str:
    """Say the middle of a scale, with one decimal more than its ends where it needs that."""
    ends_in_units = round(low * 10**decimals), round(high * 10**decimals)
    return f"{(low + high) / 2:.{decimals + sum(ends_in_units) % 2}f}"


def bar(tile_map: TileMap, wide: int, *, bright: str = "high") -> Picture:
    """Draw the scale as a bar with its ends and middle in the unit, low at the left.

    Parameters
    ----------
    tile_map : TileMap
        The map it explains.
    wide : int
        Width of the strip, pixels.
    bright : {"high", "low"}
        Which end is light.
    """
    low, high, decimals = ends(tile_map)
    values = tile_map.values[np.isfinite(tile_map.values)]
    long, thick = _BAR
    strip = blank(thick + _text.height(_text.SMALL) + 8, wide)
    indent = 60
    place = np.linspace(0.0, 1.0, long)
    colours = colours_at(place if bright == "high" else 1.0 - place)
    strip[:thick, indent : indent + long] = np.rint(colours * 255).astype(np.uint8)
    half = 10.0**-decimals / 2
    under = " or less" if values.size and values.min() < low - half else ""
    over = " or more" if values.size and values.max() > high + half else ""
    texts = (f"{low:.{decimals}f}{under}", middle_text(low, high, decimals), f"{high:.{decimals}f}{over}")
    for share, text in zip((0.0, 0.5, 1.0), texts, strict=True):
        column = indent + round(share * (long - 1))
        strip[thick : thick + 4, column : column + 1] = QUIET
        left = column - _text.width(text.split()[0], _text.SMALL) // 2
        _text.write(strip, text, (max(0, left), thick + 4), _text.SMALL, TEXT)
    beside = (indent + long + 24, (thick - _text.height(_text.SMALL)) // 2)
    note = (
        "" if values.size == tile_map.values.size else f"; grey: no value {'there' if values.size else 'anywhere'}"
    )
    _text.write(strip, f"{tile_map.unit}{note}", beside, _text.SMALL, TEXT)
    return strip
