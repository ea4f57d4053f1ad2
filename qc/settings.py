"""Recorded settings of two captures: whether they differ, whether they are of one body, and both in words."""

from __future__ import annotations

import math

from qc.frame import Camera

SAME_EXPOSURE = 0.1
"""Stops that two recorded settings may differ by and still be the same (REFERENCE D2: rounded marks)."""

LONGEST_SCALING = 1.0
"""Stops of shutter time up to which a dark frame may be scaled to a lit one."""

_SETTINGS = (
    ("iso", "ISO", "{:g}"),
    ("aperture", "aperture", "f/{:g}"),
    ("shutter_s", "shutter", ""),
    ("focal_mm", "focal length", "{:g} mm"),
    ("lens", "lens", "{}"),
)

_MARKS = (
    *(4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800),
    *(1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000),
)
"""Shutter marks in thirds of a stop, parts of a second (common practice, no published source)."""


def differing(a: Camera, b: Camera) -> dict[str, tuple[object, object]]:
    """Return the recorded settings that differ, by field of `Camera`; what is not recorded is not compared."""
    found: dict[str, tuple[object, object]] = {}
    for field, _, _ in _SETTINGS:
        ours, theirs = getattr(a, field), getattr(b, field)
        if ours is not None and theirs is not None and not _same(field, ours, theirs):
            found[field] = (ours, theirs)
    return found


def different_body(a: Camera, b: Camera) -> tuple[str, str, str] | None:
    """Return by what two captures are told to be of different bodies, with both values; None when they are not.

    Make, model and serial number, each compared only where both have it.
    """
    for word in ("make", "model", "serial"):
        ours, theirs = getattr(a, word), getattr(b, word)
        if ours and theirs and ours != theirs:
            return word, ours, theirs
    return None


def in_words(settings: dict[str, tuple[object, object]], *, between: str = "and") -> str:
    """Return differing settings as one clause: "ISO 100 and 200, shutter …"."""
    parts = []
    for field, word, form in _SETTINGS:
        if field in settings:
            ours, theirs = settings[field]
            said = [spoken_time(float(str(v))) if field == "shutter_s" else form.format(v) for v in (ours, theirs)]
            parts.append(f"{word} {said[0]} {between} {said[1]}")
    return ", ".join(parts)


def shutter_scaling(lit: Camera, dark: Camera) -> tuple[float, float]:
    """Return by how many stops the dark frame must be raised to the lit frame's shutter time, and how sure.

    Cameras record marks ("1/60") for times in steps of a half or a third of a stop (1/64 s); where the
    recorded ratio lies within `SAME_EXPOSURE` of such a step, the step is what the shutter did (REFERENCE D2).

    Returns
    -------
    stops : float
        + when the dark frame had the shorter time; 0 when a time is not recorded.
    doubt : float
        How far the recorded ratio is from `stops`, in stops: a bound, not a standard error.
    """
    if lit.shutter_s is None or dark.shutter_s is None:
        return 0.0, 0.0
    recorded = math.log2(lit.shutter_s / dark.shutter_s)
    steps = [round(recorded * n) / n for n in (1, 3, 2)]
    nearest = min(steps, key=lambda step: abs(step - recorded))
    stops = nearest if abs(nearest - recorded) <= SAME_EXPOSURE else recorded
    return stops, abs(stops - recorded)


def not_scalable(lit: Camera, dark: Camera) -> str:
    """Say which settings keep a dark frame from being held against a lit one; empty when none does."""
    settings = differing(lit, dark)
    fixed = {field: pair for field, pair in settings.items() if field in ("iso", "aperture")}
    if fixed:
        return in_words(fixed)
    if abs(shutter_scaling(lit, dark)[0]) > LONGEST_SCALING + SAME_EXPOSURE:
        return in_words({"shutter_s": settings["shutter_s"]})
    return ""


def spoken_time(seconds: float) -> str:
    """Say a shutter time as it stands on a camera: the mark within a tenth of a stop, "1/125 s", or "0.5 s"."""
    if seconds > 0.3:
        return f"{seconds:.2g} s"
    nearest = min(_MARKS, key=lambda mark: abs(math.log2(mark * seconds)))
    near = abs(math.log2(nearest * seconds)) <= 0.1
    return f"1/{nearest if near else round(1.0 / seconds)} s"


def _same(field: str, ours: float | str, theirs: float | str) -> bool:
    if isinstance(ours, str) or isinstance(theirs, str):
        return ours == theirs
    stops = abs(math.log2(ours / theirs)) * (2.0 if field == "aperture" else 1.0)
    return stops <= SAME_EXPOSURE if field in ("aperture", "focal_mm") else stops < 1e-3
