"""Frames and zones that every measurement must bear, for the contract suite. All of it is invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_linear, frame_from_mosaic, frame_from_rendered
from qc.frame import Calibration, Camera, Cfa, Colour, Frame
from qc.rehearse.sensor import Sensor
from qc.sheet.zones import Role, Zone

Content = Literal["scene", "even", "clipped", "black"]
Light = NDArray[np.float64]

X_TRANS = Cfa(
    pattern=(
        (1, 2, 1, 1, 0, 1),
        (0, 1, 0, 2, 1, 2),
        (1, 2, 1, 1, 0, 1),
        (1, 0, 1, 1, 2, 1),
        (2, 1, 2, 0, 1, 0),
        (1, 0, 1, 1, 2, 1),
    )
)
FOUR_COLOURS = Cfa(pattern=((0, 1), (3, 2)), colours="RGBE")
MONO = Cfa(pattern=((0,),), colours="L")
LAYOUTS: Mapping[str, Cfa] = {**BAYER, "X-Trans": X_TRANS, "four colours": FOUR_COLOURS, "mono": MONO}

NEUTRAL = (0.5, 1.0, 0.7, 0.9)
DARKER = 1 / 64
"""Light of a companion against the frame itself: a dark frame 6 stops under."""

_MATRIX = ((0.9, -0.25, -0.1), (-0.45, 1.25, 0.22), (-0.08, 0.18, 0.62), (-0.2, 0.9, 0.3))


def _colour(colours: int) -> Colour:
    if colours < 3:
        return Colour()
    matrix = _MATRIX[:colours]
    return Colour(
        neutral=NEUTRAL[:colours],
        calibrations=(Calibration(illuminant=21, kelvin=6504.0, xyz_to_camera=matrix),),
        source="DNG tags",
    )


def light(content: Content, shape: tuple[int, int], colours: int) -> Light:
    """Linear light, shape (colours, rows, columns)."""
    rows, columns = shape
    if content == "black":
        return np.zeros((colours, rows, columns))
    if content == "clipped":
        return np.full((colours, rows, columns), 3.0)
    if content == "even":
        return np.full((colours, rows, columns), 0.3)
    rng = np.random.default_rng(3)
    y, x = np.mgrid[0:rows, 0:columns]
    u, v = x / columns, y / rows
    grey = 0.08 + 0.3 * u + 0.1 * v
    grey = np.where((u - 0.3) ** 2 + (v - 0.4) ** 2 < 0.02, 0.5, grey)
    grey = np.where((u > 0.6) & (u < 0.8) & (v > 0.5) & (v < 0.8), 0.18, grey)
    grey = np.where((u - 0.75) ** 2 + (v - 0.2) ** 2 < 0.004, 3.0, grey)
    grey = grey * (1 + 0.03 * rng.standard_normal(shape))
    return grey[np.newaxis] * np.array(NEUTRAL[:colours] if colours > 1 else (1.0,))[:, np.newaxis, np.newaxis]


@dataclass(frozen=True, kw_only=True)
class Case:
    """A frame, and the dark frame beside it."""

    layout: str = "RGGB"
    content: Content = "scene"
    shape: tuple[int, int] = (144, 216)
    orientation: int = 1
    colour: bool = True

    def frame(self, factor: float = 1.0) -> Frame:
        """Make the frame; `factor` scales its light."""
        camera = Camera(make="Own", model="Own 1", iso=100.0, shutter_s=1 / 125, aperture=11.0, focal_mm=90.0)
        rng = np.random.default_rng(round(1 / factor))
        if self.layout in LAYOUTS:
            cfa = LAYOUTS[self.layout]
            seen = light(self.content, self.shape, len(cfa.colours)) * factor
            return frame_from_mosaic(
                Sensor().expose(seen, cfa, rng),
                cfa=cfa,
                black=512.0,
                white=16383.0,
                orientation=self.orientation,
                colour=_colour(len(cfa.colours)) if self.colour else None,
                camera=camera,
            )
        colours = 1 if self.layout == "rendered grey" else 3
        planes = light(self.content, self.shape, colours) * factor
        pixels = np.moveaxis(planes + 0.0005 * rng.standard_normal(planes.shape), 0, -1)
        if self.layout == "linear":
            counts = np.clip(np.rint(pixels * 15871 + 512), 0, 16383).astype(np.uint16)
            return frame_from_linear(
                counts,
                black=512.0,
                white=16383.0,
                orientation=self.orientation,
                colour=_colour(3) if self.colour else None,
                camera=camera,
            )
        srgb = ((0.4361, 0.3851, 0.1431), (0.2225, 0.7169, 0.0606), (0.0139, 0.0971, 0.7141))
        return frame_from_rendered(
            np.clip(pixels, 0, 1),
            orientation=self.orientation,
            colour=Colour(rgb_to_xyz_d50=srgb, source="sRGB assumed") if self.colour and colours == 3 else None,
            camera=camera,
        )


_KINDS = (*LAYOUTS, "linear", "rendered", "rendered grey")
_CONTENTS: tuple[Content, ...] = ("scene", "even", "clipped", "black")

CASES: Mapping[str, Case] = {
    **{f"{kind}, {content}": Case(layout=kind, content=content) for kind in _KINDS for content in _CONTENTS},
    **{f"orientation {n}": Case(orientation=n) for n in range(2, 9)},
    **{
        f"{rows} × {columns} {kind}": Case(layout=kind, shape=(rows, columns))
        for kind in ("RGGB", "X-Trans", "mono", "linear", "rendered")
        for rows, columns in ((1, 1), (2, 2), (3, 5), (14, 14), (13, 200))
    },
    "no colour matrix": Case(colour=False),
}
"""Frames by name."""


def _zones() -> tuple[Zone, ...]:
    zones: list[Zone] = []
    for role in Role:
        zones += [
            Zone.from_box(
                f"{role} inside", role, (0.62, 0.52, 0.16, 0.26), budget=0.0 if role == "allow" else None
            ),
            Zone.from_box(f"{role} whole", role, (0.0, 0.0, 1.0, 1.0)),
            Zone.from_box(f"{role} over the edge", role, (0.9, 0.9, 0.5, 0.5)),
            Zone.from_box(f"{role} outside", role, (1.5, 1.5, 0.2, 0.2)),
            Zone.from_box(f"{role} one point", role, (0.5, 0.5, 0.0, 0.0)),
            Zone(name=f"{role} line", role=role, points=((0.1, 0.1), (0.9, 0.9), (0.5, 0.5))),
            Zone(name=f"{role} triangle", role=role, points=((0.55, 0.05), (0.95, 0.05), (0.75, 0.45))),
        ]
    chart = "ColorChecker24 - After November 2014/neutral 5 (.70 D)"
    box = (0.62, 0.52, 0.16, 0.26)
    zones += [
        Zone.from_box("patch of a chart", Role.PATCH, box, reference=chart, lightness=60.0),
        Zone.from_box("patch of no chart", Role.PATCH, box, reference="nothing/white"),
        Zone.from_box("patch of no lightness", Role.PATCH, box, lightness=0.0),
    ]
    return tuple(zones)


ZONES = _zones()
"""Zones of every role: inside, whole, over the edge, outside, without area, a polygon."""
