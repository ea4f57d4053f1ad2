"""Running the ambient test and asking for one of its answers."""

from __future__ import annotations

from collections.abc import Sequence

from qc.frame import Frame
from qc.measure.ambient import SPEC
from qc.measure.ambient.advice import advised
from qc.reading import Finding, Measured, Reading
from qc.sheet.brief import Brief
from qc.sheet.zones import Zone
from tests.measure.ambient_scene import CAMERA

SWEEP = Zone.from_box("sweep", "backdrop", (0.0, 0.0, 1.0, 0.08))
BLUE_POT = Zone.from_box("blue pot", "protect", (0.72, 0.35, 0.12, 0.4))
BLACK_POT = Zone.from_box("black pot", "sharp", (0.45, 0.35, 0.1, 0.4))
CARD = Zone.from_box("card", "patch", (0.35, 0.12, 0.13, 0.08))
ZONES = (SWEEP, BLUE_POT, BLACK_POT, CARD)


def run(lit: Frame, *companions: Frame, zones: Sequence[Zone] = (), brief: Brief | None = None) -> Measured:
    return SPEC(lit, zones=zones, brief=brief or Brief(), companions=companions)


def get(measured: Measured, name: str, zone: str | None = None) -> Reading:
    found = [r for r in measured.readings if r.name == f"ambient.{name}" and r.zone == zone]
    assert len(found) == 1
    return found[0]


def value(measured: Measured, name: str, zone: str | None = None) -> float:
    reading = get(measured, name, zone)
    assert reading.value is not None, reading.reason
    return reading.value


def said(measured: Measured, code: str) -> list[Finding]:
    return [finding for finding in measured.findings if finding.code == code]


def advice_on(measured: Measured, *, lit: Frame | None = None, sync: float | None = None) -> list[Finding]:
    """Advice as the pipeline gives it where the set has no limits."""
    camera = lit.camera if lit is not None else CAMERA
    return advised(measured.readings, measured.findings, camera, sync, {})
