"""From the mean light of a patch to how far it is from its reference; with the ± of every number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure._colour import (
    D50,
    adaptation,
    balance_of,
    camera_to_xyz_d50,
    cct_duv,
    delta_e_2000,
    lab,
    mired,
    xyz_of,
    xyz_of_lab,
)
from qc.measure.cast.chart import chart_lab
from qc.reading import Reason
from qc.sheet.zones import Zone

NEUTRAL_LIGHTNESS = 50.0
"""L* at which a neutral reference is compared unless its zone says otherwise."""

MOST_CHROMA = 20.0
"""Chroma of a reference up to which a warm–cool reading has a meaning. Our own choice: the neutrals of published
charts stay under 4."""

MOST_DUV = 0.05
"""Duv beyond which a colour temperature describes nothing (CIE 15:2018; the figure is from memory)."""

Numbers = dict[str, float | Reason]
"""By catalogue name, less ``cast.``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """All that stands between camera light and a cast: matrix, balance, reference and white.

    Attributes
    ----------
    matrix : ndarray, shape (3, colours), or Reason
        Camera light to XYZ D50.
    balance : ndarray, shape (colours,), or Reason
        Camera values of a neutral object.
    colours : str
        One letter a colour.
    reference : ndarray, shape (3,)
        CIELAB under D50.
    white_xy : (float, float)
        The white that warm and cool are told from.
    """

    matrix: NDArray[np.float64] | Reason
    balance: NDArray[np.float64] | Reason
    colours: str
    reference: NDArray[np.float64]
    white_xy: tuple[float, float]


def reference_of(zone: Zone) -> NDArray[np.float64] | Reason:
    """Return CIELAB under D50 of what a patch is meant to be.

    Returns
    -------
    ndarray, shape (3,), or Reason
        Reasons: ``unknown_reference``; ``too_dark`` for a lightness that is not above 0.
    """
    if zone.lightness is not None and not 0 < zone.lightness <= 100:
        return Reason("unknown_reference", f"a lightness of {zone.lightness:g} is not above 0 and up to 100")
    if zone.reference in (None, "neutral"):
        return np.array([zone.lightness or NEUTRAL_LIGHTNESS, 0.0, 0.0])
    found = chart_lab(str(zone.reference))
    if isinstance(found, Reason) or zone.lightness is None:
        return found
    xyz = xyz_of_lab(found)
    return lab(xyz * xyz_of_lab((zone.lightness, 0.0, 0.0))[1] / xyz[1])


def way_of(frame: Frame, reference: NDArray[np.float64], white_xy: tuple[float, float]) -> Way:
    """Return the way from a frame's light to a cast against a reference."""
    rendered = frame.colour.rgb_to_xyz_d50 is not None
    balance = np.ones(len(frame.colours)) if rendered else balance_of(frame.colour)
    if frame.colour.reason is not None and not rendered and isinstance(balance, Reason):
        balance = frame.colour.reason
    if not isinstance(balance, Reason) and len(balance) != len(frame.colours):
        balance = Reason("no_white_balance", f"the balance has {len(balance)} colours, not {len(frame.colours)}")
    matrix = camera_to_xyz_d50(frame.colour)
    if not isinstance(matrix, Reason) and matrix.shape[1] != len(frame.colours):
        matrix = Reason("no_colour_matrix", f"the matrix has {matrix.shape[1]} colours, not {len(frame.colours)}")
    return Way(matrix=matrix, balance=balance, colours=frame.colours, reference=reference, white_xy=white_xy)


def numbers(way: Way, means: NDArray[np.float64]) -> Numbers:
    """Return how far a patch of the given mean light is from its reference."""
    return {**_lab_numbers(way, means), **_gains(way, means)}


def _lab_numbers(way: Way, means: NDArray[np.float64]) -> Numbers:
    names = ("chroma", "delta_a", "delta_b", "difference", "warm_cool", "green_magenta")
    if isinstance(way.matrix, Reason):
        return dict.fromkeys(names, way.matrix)
    xyz = way.matrix @ means
    if xyz.min() <= 0:
        return dict.fromkeys(names, Reason("too_dark", "the patch has no light in one of its colours"))
    wanted = xyz_of_lab(way.reference)
    scaled = xyz * (wanted[1] / xyz[1])
    found = lab(scaled)
    _, delta_a, delta_b = (float(v) for v in found - way.reference)
    return {
        "chroma": float(np.hypot(delta_a, delta_b)),
        "delta_a": delta_a,
        "delta_b": delta_b,
        "difference": float(delta_e_2000(found, way.reference)),
        **_temperature(way, scaled / wanted * np.array(D50)),
    }


def _temperature(way: Way, neutral: NDArray[np.float64]) -> Numbers:
    """Return where a neutral object would lie: mired and Duv from the stated white."""
    if np.hypot(way.reference[1], way.reference[2]) > MOST_CHROMA:
        reason = Reason("reference_not_neutral", "the reference has a colour of its own")
        return {"warm_cool": reason, "green_magenta": reason}
    white = xyz_of(way.white_xy)
    kelvin, duv = cct_duv(adaptation(D50, white) @ neutral)
    white_kelvin, white_duv = cct_duv(white)
    if not np.isfinite(kelvin - white_kelvin) or abs(duv) > MOST_DUV:
        reason = Reason("no_temperature", "the patch is too far from any white for a colour temperature")
        return {"warm_cool": reason, "green_magenta": reason}
    return {"warm_cool": mired(kelvin) - mired(white_kelvin), "green_magenta": duv - white_duv}


def _gains(way: Way, means: NDArray[np.float64]) -> Numbers:
    """Return the factors on red and blue, green kept, that would bring the patch to its reference."""
    target = _wanted_light(way)
    found: Numbers = {}
    for name, letter in (("gain_red", "R"), ("gain_blue", "B")):
        if letter not in way.colours or "G" not in way.colours:
            found[name] = Reason("no_such_colour", f"the file has the colours {way.colours}")
        elif isinstance(target, Reason):
            found[name] = target
        else:
            colour, green = way.colours.index(letter), way.colours.index("G")
            if min(means[colour], means[green], target[colour], target[green]) <= 0:
                found[name] = Reason("too_dark", "the patch has no light in one of its colours")
            else:
                found[name] = float(target[colour] / target[green] * means[green] / means[colour])
    return found


def _wanted_light(way: Way) -> NDArray[np.float64] | Reason:
    """Camera light of the reference, at any scale; a neutral one needs the balance only."""
    if isinstance(way.balance, Reason):
        return way.balance
    if not np.any(way.reference[1:]):
        return way.balance
    if isinstance(way.matrix, Reason):
        return way.matrix
    return np.asarray(np.linalg.pinv(way.matrix) @ xyz_of_lab(way.reference), dtype=np.float64)


def plus_minus(
    frame: Frame, way: Way, means: NDArray[np.float64], cells: int, values: Mapping[str, float | Reason]
) -> tuple[dict[str, float], bool]:
    """Return two standard errors of every number, and whether they hold the noise as well as black.

    Notes
    -----
    Every source of error moves the mean light up and down by two of its standard errors; a number's ± is the root
    of the sum of the squares of how far it goes. That needs no derivative, which a chroma near 0 does not have.
    Photon and read noise go down with the number of photosites. Black does not: one error for all colours, or one
    for each, whichever is worse. The error of the camera matrix is not in it.
    """
    black = 2 * frame.black.uncertainty / frame.scale
    size = len(means)
    together = _moved(way, means, [np.full(size, black)], values)
    apart = _moved(way, means, list(np.eye(size) * black), values)
    variance = frame.variance_of_photosite(means.astype(np.float32))
    if variance is None:
        return {name: max(together[name], apart[name]) for name in together}, False
    sigma = np.sqrt(variance / (cells * frame.photosites_per_cell()))
    noise = _moved(way, means, list(np.diag(2 * sigma)), values)
    return {name: float(np.hypot(noise[name], max(together[name], apart[name]))) for name in together}, True


def _moved(
    way: Way,
    means: NDArray[np.float64],
    steps: Sequence[NDArray[np.float64]],
    values: Mapping[str, float | Reason],
) -> dict[str, float]:
    total = {name: 0.0 for name, value in values.items() if not isinstance(value, Reason)}
    for step in steps:
        ends = [numbers(way, means + step), numbers(way, means - step)]
        for name in total:
            total[name] += max(_distance(end[name], values[name]) for end in ends) ** 2
    return {name: float(np.sqrt(square)) for name, square in total.items()}


def _distance(moved: float | Reason, value: float | Reason) -> float:
    if isinstance(moved, Reason) or isinstance(value, Reason):
        return np.inf  # an error this large leaves no number at all
    return abs(moved - value)
