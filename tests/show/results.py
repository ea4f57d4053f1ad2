"""Results made up for tests of showing."""

from __future__ import annotations

from dataclasses import replace

from qc.frame import Camera
from qc.judge import judge
from qc.reading import Finding, Reading, Reason, Region, Unit
from qc.result import CameraFacts, FileFacts, MadeBy, Result
from qc.sheet.limits import resolve
from qc.sheet.sheet import Sheet
from tests.sheet.toys import LABEL, NECK, SPECS

SHEET = Sheet(name="bottles", digest="blake2b:11", preset="series", zones=(LABEL, NECK))

FILE = FileFacts(path="in/SB_0007.dng", name="SB_0007.dng", bytes=1234, content="blake2b:00")

CAMERA = CameraFacts(
    settings=Camera(
        make="Own",
        iso=100.0,
        shutter_s=1 / 160,
        aperture=11.0,
        focal_mm=90.0,
        taken="2026-11-25T10:00:03.250+01:00",
    ),
    kind="mosaic",
    width=8688,
    height=5792,
)

READINGS = (
    Reading(name="burnt.area", unit=Unit.PERCENT_OF_CELLS, value=0.42, plus_minus=0.01),
    Reading(name="burnt.area", unit=Unit.PERCENT_OF_CELLS, zone="label", value=0.31, plus_minus=0.004),
    Reading(
        name="burnt.fact", unit=Unit.PERCENT, value=3.0, doubt=Reason("no_noise_model", "the noise is not known")
    ),
    Reading(
        name="blur.width", unit=Unit.PIXELS, zone="neck", reason=Reason("texture", "texture: blur cannot be read")
    ),
    Reading(name="tint.under", unit=Unit.STOPS, value=7.2, bound="at least"),
)

FINDINGS = (
    Finding(code="nothing_saturates", text="nothing reaches saturation"),
    Finding(code="glint", zone="label", text="a glint", data={"count": 3, "places": (1, 2)}),
)

REGIONS = (Region(what="clipped", box=(0.1, 0.2, 0.05, 0.04), area=0.12, colours="RGB", zone="label", edge=2.5),)


def result(sheet: Sheet | None = SHEET, **changes: object) -> Result:
    base = Result(
        file=FILE,
        camera=CAMERA,
        readings=READINGS,
        findings=FINDINGS,
        regions=REGIONS,
        verdict=judge(
            FILE,
            READINGS,
            FINDINGS,
            specs=SPECS,
            zones=sheet.zones if sheet else (),
            limits=resolve(SPECS, sheet),
        ),
        sheet_name=sheet.name if sheet else None,
        sheet_digest=sheet.digest if sheet else None,
        made_by=MadeBy(tool="framegauge 0.1.0", decoder="rawpy 0.28.0", methods={"burnt": 3}),
        measured_at="2026-11-25T10:00:05+01:00",
    )
    return replace(base, **changes)  # type: ignore[arg-type]  # a test names any field


def lost(state: str = "truncated", detail: str = "half is missing", name: str = "SB_0008.dng") -> Result:
    file = FileFacts(path=name, name=name, state=state, detail=detail)  # type: ignore[arg-type]  # any state
    nothing = judge(file, (), (), specs=SPECS, limits={})
    return result(None, file=file, camera=CameraFacts(), readings=(), findings=(), regions=(), verdict=nothing)
