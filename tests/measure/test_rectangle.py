"""The largest rectangle in a mask, against trying all of them."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis.extra.numpy import array_shapes, arrays

from qc.measure._rectangle import largest_rectangle


@given(arrays(bool, array_shapes(min_dims=2, max_dims=2, max_side=7)))
def test_the_largest_rectangle_is_the_largest_of_all(mask: np.ndarray) -> None:
    rows, columns = mask.shape
    every = (
        (b - t) * (r - x)
        for t in range(rows)
        for b in range(t + 1, rows + 1)
        for x in range(columns)
        for r in range(x + 1, columns + 1)
        if mask[t:b, x:r].all()
    )
    top, left, bottom, right = largest_rectangle(mask)
    assert (bottom - top) * (right - left) == max(every, default=0)
    assert mask[top:bottom, left:right].all()
