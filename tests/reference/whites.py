"""Whites and matrices as published, for the tests of adaptation."""

from __future__ import annotations

ASTM_D65 = (0.95047, 1.0, 1.08883)
ASTM_D50 = (0.96422, 1.0, 0.82521)
PUBLISHED_BRADFORD = (
    (1.0478112, 0.0228866, -0.0501270),
    (0.0295424, 0.9904844, -0.0170491),
    (-0.0092345, 0.0150436, 0.7521316),
)
