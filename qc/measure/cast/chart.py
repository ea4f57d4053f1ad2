"""What a patch is meant to be: neutral, or a patch of a chart in the data that colour-science carries."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import numpy as np

from qc.measure._colour import D50, Array, adaptation, lab, science, xyz_of
from qc.reading import Reason


def chart_lab(reference: str) -> Array | Reason:
    """Return CIELAB under D50 of a chart's patch from colour-science's data.

    Parameters
    ----------
    reference : str
        ``"EDITION/patch"``: a key of ``colour.CCS_COLOURCHECKERS`` and a patch of that edition. Editions of one
        chart differ by up to 2 ΔE00, which is why the edition is part of the name.

    Returns
    -------
    ndarray, shape (3,), or Reason
        Reason ``unknown_reference``, with the nearest name. Data under another white are adapted by `adaptation`.
    """
    edition, _, patch = reference.partition("/")
    charts = science().CCS_COLOURCHECKERS
    if edition not in charts:
        return _unknown(edition, list(charts), "edition of a chart")
    chart = charts[edition]
    if patch not in chart.data:
        return _unknown(patch, list(chart.data), f"patch of {edition}")
    x, y, luminance = np.asarray(chart.data[patch], dtype=np.float64)
    white = xyz_of(chart.illuminant)
    return lab(adaptation(white, D50) @ (xyz_of((x, y)) * luminance))


def _unknown(name: str, known: Sequence[str], what: str) -> Reason:
    near = difflib.get_close_matches(name, known, n=1)
    hint = f"; the nearest is {near[0]!r}" if near else ""
    return Reason("unknown_reference", f"{name!r} is no {what}{hint}")
