"""Optics: what aperture and pixel alone leave of sharpness, and how deep the sharp space is.

The modelled spread goes through the same estimator as a frame, so that `optics.expected_blur` and `sharpness.blur`
may be compared: a spread that is no Gaussian reads the same in both.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure.sharpness.scale import BOTTOM, TOP, blur_of_line_spread
from qc.reading import Bound, Measured, Rank, Reading, ReadingSpec, Reason, Spec, Unit
from qc.sheet.brief import Brief
from qc.sheet.zones import Zone

WAVELENGTH_UM = 0.55
"""Green light, µm."""

Numbers = NDArray[np.float64]


def diffraction_mtf(frequency: Numbers, aperture: float, pitch_um: float) -> Numbers:
    """Return the MTF of a circular aperture.

    Parameters
    ----------
    frequency : ndarray
        Cycles/px.
    aperture : float
        Effective f-number N (1 + m).
    pitch_um : float
        Pixel pitch, µm.

    Returns
    -------
    ndarray
        2/π (acos ν − ν √(1 − ν²)) with ν = f λ N (Goodman, *Introduction to Fourier Optics*, incoherent circular
        pupil; from memory); 0 from ν = 1.
    """
    nu = np.clip(np.abs(frequency) * WAVELENGTH_UM * aperture / pitch_um, 0.0, 1.0)
    return np.asarray(2 / np.pi * (np.arccos(nu) - nu * np.sqrt(1 - nu**2)))


def disc_mtf(frequency: Numbers, diameter: float) -> Numbers:
    """Return the transfer function 2 J₁(πfd)/(πfd) of a uniform disc, diameter in px; negative in its rings."""
    # J₁ by its integral, (1/π) ∫ cos(τ − x sin τ) dτ over [0, π]: no need of a heavier library for one curve
    x = np.pi * np.abs(frequency) * diameter
    tau = (np.arange(400) + 0.5) * np.pi / 400
    bessel = np.cos(tau - np.sin(tau) * x[..., np.newaxis]).mean(axis=-1)
    return np.where(x < 1e-6, 1.0, 2 * bessel / np.maximum(x, 1e-6))


@lru_cache(maxsize=256)
def expected_blur(aperture: float | None, pitch_um: float | None, disc: float = 0.0) -> float:
    """Return the blur that `sharpness.blur` would read from an ideal lens.

    Parameters
    ----------
    aperture : float or None
        Effective f-number N (1 + m); None for no diffraction.
    pitch_um : float or None
        Pixel pitch, µm; None for no diffraction.
    disc : float
        Diameter of the defocus disc, px.

    Returns
    -------
    float
        σ, px.
    """
    frequency = np.linspace(0.0, 4.0, 4001)
    transfer = np.sinc(frequency)
    if aperture is not None and pitch_um is not None:
        transfer = transfer * diffraction_mtf(frequency, aperture, pitch_um)
    if disc > 0:
        transfer = transfer * disc_mtf(frequency, disc)

    def amplitude(variance: float) -> float:
        return float(2 * np.trapezoid(transfer * np.exp(-2 * np.pi**2 * variance * frequency**2), frequency))

    return blur_of_line_spread(amplitude)


def depth_of_field(
    aperture: float, circle_mm: float, magnification: float, focal_mm: float | None = None
) -> float:
    """Return the depth of the sharp space in mm.

    Parameters
    ----------
    aperture : float
        Nominal f-number.
    circle_mm : float
        Diameter of the blur circle that still counts as sharp, mm.
    magnification : float
        Image size over object size.
    focal_mm : float or None
        Focal length; None for the close-up form, which is longer focal lengths' limit.

    Returns
    -------
    float
        2 N c (1 + m) / (m² − (N c / f)²); infinite at and beyond the hyperfocal distance. Thin lens, pupil
        magnification 1.
    """
    correction = 0.0 if focal_mm is None else (aperture * circle_mm / focal_mm) ** 2
    divisor = magnification**2 - correction
    if divisor <= 0:
        return float("inf")
    return 2 * aperture * circle_mm * (1 + magnification) / divisor


def measure(frame: Frame, *, zones: Sequence[Zone], brief: Brief) -> Measured:
    """State what the recorded aperture and the set's pitch and magnification lead to."""
    del zones  # optics are the frame's
    return Measured(readings=(_expected(frame, brief), _depth(frame, brief)))


def _expected(frame: Frame, brief: Brief) -> Reading:
    name, unit = "optics.expected_blur", Unit.PIXELS
    aperture, pitch = frame.camera.aperture, brief.pixel_pitch_um
    if aperture is None or pitch is None:
        return Reading(name=name, unit=unit, reason=_not_recorded(aperture=aperture, pixel_pitch=pitch))
    magnification = _magnification(frame, brief)
    blur = expected_blur(aperture * (1 + (magnification or 0.0)), pitch)
    bound: Bound | None = "at least" if magnification is None else None
    if blur < BOTTOM and bound is None:
        blur, bound = BOTTOM, "at most"
    elif blur > TOP:
        blur, bound = TOP, "at least"
    return Reading(name=name, unit=unit, value=blur, bound=bound)


def _depth(frame: Frame, brief: Brief) -> Reading:
    name, unit = "optics.depth_of_field", Unit.MILLIMETRES
    aperture, pitch, magnification = frame.camera.aperture, brief.pixel_pitch_um, brief.magnification
    if aperture is None or pitch is None or magnification is None:
        missing = _not_recorded(aperture=aperture, pixel_pitch=pitch, magnification=magnification)
        return Reading(name=name, unit=unit, reason=missing)
    depth = depth_of_field(aperture, brief.circle_px * pitch / 1000, magnification, frame.camera.focal_mm)
    if not np.isfinite(depth):
        return Reading(name=name, unit=unit, reason=Reason("to_infinity", "sharp from some distance to infinity"))
    return Reading(name=name, unit=unit, value=depth)


def _magnification(frame: Frame, brief: Brief) -> float | None:
    """Return the stated magnification, else f/(s − f) from what the file records, else None."""
    focal, focus = frame.camera.focal_mm, frame.camera.focus_m
    if brief.magnification is not None or focal is None or focus is None or focus * 1000 <= 2 * focal:
        return brief.magnification
    return focal / (focus * 1000 - focal)


def _not_recorded(**values: float | None) -> Reason:
    names = [key.replace("_", " ") for key, value in values.items() if value is None]
    return Reason("not_recorded", f"{' and '.join(names)} neither in the file nor in the sheet")


SPEC = Spec(
    name="optics",
    version=1,
    measure=measure,
    readings=(
        ReadingSpec(
            name="optics.expected_blur",
            unit=Unit.PIXELS,
            phrase="aperture alone gives {value} px",
            meaning="Blur that a perfect lens in perfect focus leaves at this aperture: diffraction and pixel.",
            low_end="0.5, at most: the pixel rules",
            high_end="5, at least: a very small aperture for the pixel",
            method="Airy spread for N (1 + m) and 0.55 µm, pixel aperture, through the estimator of"
            " sharpness.blur; 'at least' where the magnification is not known",
            source="MTF of a circular aperture, 2/π (acos ν − ν √(1 − ν²)); re-blur ratio as sharpness.blur",
            comparable_when="same aperture, magnification and pixel pitch",
        ),
        ReadingSpec(
            name="optics.depth_of_field",
            unit=Unit.MILLIMETRES,
            phrase="depth of field {value} mm",
            meaning="How deep the space is in which the blur circle stays within the set's circle_px.",
            low_end="near 0: close up, wide open",
            high_end="no upper end; no value where it reaches to infinity",
            method="2 N c (1 + m) / (m² − (N c / f)²), c = circle_px × pixel pitch; without (N c / f)² where the"
            " focal length is not recorded",
            source="thin-lens depth of field; checked against US Army SS0507 and US Navy 14209 worked examples",
            comparable_when="same aperture, magnification, focal length and circle",
        ),
    ),
    reasons={"to_infinity": "the sharp space has no far end"},
    kinds=frozenset({"mosaic", "linear"}),
    rank=Rank.REST,
    drawing="none",
)
