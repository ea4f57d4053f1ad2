"""The label: paper with print, drawn fine, taken down to the picture's pixels and laid round the bottle."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from qc.rehearse._surface import Mask, Plane, Planes

OVERSAMPLING = 4
"""Label pixels along one picture pixel; a box of this side is the aperture of a photosite."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A label.

    Attributes
    ----------
    low, high : float
        Its lower and upper edge on the bottle, millimetres.
    half_width : float
        Half its length round the bottle, millimetres.
    paper, ink : (float, float, float)
        Balanced camera RGB.
    lines : tuple of (text, y, size)
        Print: text, height of its middle above the lower edge and height of its letters, millimetres; ``"◆"`` is
        the potter's seal and ``"≡"`` a row of fine strokes.
    """

    low: float
    high: float
    half_width: float
    paper: tuple[float, float, float] = (0.80, 0.785, 0.74)
    ink: tuple[float, float, float] = (0.055, 0.05, 0.06)
    lines: tuple[tuple[str, float, float], ...] = ()


def paste(label: Label, arc: Plane, height: Plane, radius: float, scale: float) -> tuple[Planes, Plane]:
    """Return the label's albedo and cover for surface points.

    Parameters
    ----------
    label : Label
        What to paste.
    arc, height : ndarray, shape (rows, columns)
        Length round the bottle from its front, and height, millimetres.
    radius : float
        Radius of the bottle, millimetres.
    scale : float
        Picture pixels per millimetre.

    Returns
    -------
    albedo : ndarray, shape (rows, columns, 3)
    cover : ndarray, shape (rows, columns)
    """
    fine = scale * OVERSAMPLING
    ink = cv2.blur(_print(label, fine), (OVERSAMPLING, OVERSAMPLING))
    column = (arc + np.float32(label.half_width)) * np.float32(fine) - 0.5
    row = (np.float32(label.high) - height) * np.float32(fine) - 0.5
    amount = cv2.remap(ink, column, row, cv2.INTER_LINEAR, borderValue=0).astype(np.float32) / 255
    inside = np.minimum(label.half_width - np.abs(arc), np.minimum(height - label.low, label.high - height))
    # Toward its ends the label turns away, so a picture pixel spans more of it.
    turn = np.sqrt(np.clip(1 - (arc / np.float32(radius)) ** 2, 0.05, 1))
    cover = np.clip(inside * np.float32(scale) * np.where(np.abs(arc) > label.half_width - 1, turn, 1) + 0.5, 0, 1)
    paper, dark = np.array(label.paper, dtype=np.float32), np.array(label.ink, dtype=np.float32)
    albedo = paper + (dark - paper) * amount[..., np.newaxis]
    return albedo.astype(np.float32), cover.astype(np.float32)


def _print(label: Label, fine: float) -> Mask:
    """Return how much ink lies where, 255 for full."""
    width, height = round(2 * label.half_width * fine), round((label.high - label.low) * fine)
    page = Image.new("L", (width, height), 0)
    draw = ImageDraw.Draw(page)
    rule = max(1, round(0.22 * fine))
    inset = round(1.6 * fine)
    draw.rectangle((inset, inset, width - inset, height - inset), outline=255, width=rule)
    for text, middle, size in label.lines:
        at = (width / 2, height - middle * fine)
        if text == "◆":
            _seal(draw, at, size * fine)
        elif text == "≡":
            _bars(draw, width, at[1], size * fine, fine)
        else:
            draw.text(at, text, fill=255, font=ImageFont.load_default(size * fine * 1.35), anchor="mm")
    return np.asarray(page)


def _seal(draw: ImageDraw.ImageDraw, at: tuple[float, float], size: float) -> None:
    """Draw a full disc between two lozenges: broad shapes whose edges stand alone."""
    (x, y), half = at, size / 2
    draw.ellipse((x - half, y - half, x + half, y + half), fill=255)
    for side in (-1, 1):
        middle, small = x + side * size * 1.25, size * 0.42
        draw.polygon(
            [(middle, y - small), (middle + small, y), (middle, y + small), (middle - small, y)], fill=255
        )


def _bars(draw: ImageDraw.ImageDraw, width: int, middle: float, size: float, fine: float) -> None:
    """Draw a row of fine upright strokes, thin and thick by turns."""
    x, thick = width * 0.32, (0.25, 0.5, 0.25, 0.75, 0.4, 0.25)
    for index in range(26):
        stroke = thick[(index * 5) % 6] * fine
        draw.rectangle((x, middle - size / 2, x + stroke, middle + size / 2), fill=255)
        x += stroke + (0.35 + 0.2 * (index % 3)) * fine
        if x > width * 0.68:
            break
