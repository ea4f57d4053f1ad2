"""The whole way of a capture: bytes, container, frame, measurements, verdict, result.

`measure_capture` and `measure_ambient` are what every command calls. A bad capture never raises: its result says
what is wrong. A defect of ours does raise; the commands turn it into one line and go on with the next file.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, cast

from qc.errors import CaptureError, UsageError, printable
from qc.judge import judge
from qc.reading import Finding, Measured, Spec
from qc.result import CameraFacts, FileFacts, MadeBy, Result, State
from qc.sheet.limits import Limit, Place, resolve
from qc.sheet.sheet import PRESETS, Sheet

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from qc.container import Loaded
    from qc.decode import MosaicHint
    from qc.digest import Digest
    from qc.frame import Frame
    from qc.measure.ambient.advice import Wanted
    from qc.sheet.brief import Brief
    from qc.sheet.zones import Zone


AnyPath = str | bytes | os.PathLike[str]
"""A path as the operating system or a caller gives it."""

FINDINGS: Mapping[str, str] = {
    "nearly_black": "nothing in the picture comes within 7 stops of saturation: no flash, or the cap is on",
    "all_burnt": "nearly every cell is burnt in every colour: there is no picture",
    "left_out": "a frame could not be read and was left out of the test",
}
"""Findings about the capture as a whole, by code."""

OF_ONE_FRAME = frozenset({"saturation", "nothing_saturates"})
"""Findings of decoding that belong to one frame and say nothing about a test of several."""

DARKEST_PICTURE = 2.0**-7
"""Brightest tile, as a part of full scale, under which a frame counts as holding no picture. Our own choice: a
flash picture has something within a few stops of saturation, and a room without its flash lies about seven stops
under it (common practice, no published source)."""

BURNT_PICTURE = 0.95
"""Part of the cells clipped in every colour at which a frame counts as holding no picture. Our own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A capture that was opened.

    Attributes
    ----------
    file, camera
        As they stand in a `Result`.
    frame : Frame or None
        None where it cannot be read: `file` has its state and the cause.
    """

    file: FileFacts
    camera: CameraFacts
    frame: Frame | None = None


def measure_capture(
    path: AnyPath | Loaded | Opened,
    sheet: Sheet | None = None,
    *,
    preset: str | None = None,
    decoder: str = "auto",
    mosaic: MosaicHint | None = None,
) -> Result:
    """Measure and judge one capture.

    Results are picklable, so captures may be measured in worker processes. A process pool must start them by
    ``spawn`` (``ProcessPoolExecutor(mp_context=multiprocessing.get_context("spawn"))``): the libraries under the
    measurements keep threads, and a forked copy of those may hang.

    Parameters
    ----------
    path : str, bytes, os.PathLike, Loaded or Opened
        The capture; opened read-only, once. One that was read already (`qc.container.load`) or decoded
        (`open_capture`) is not opened again.
    sheet : Sheet or None
        Zones and limits, as `qc.read_sheet` returns them; without it nothing of taste is judged.
    preset : str or None
        ``"loose"``, ``"series"`` or ``"strict"``; goes before the sheet's.
    decoder : str
        ``"auto"``, ``"rawpy"`` or ``"flashraw"``.
    mosaic : MosaicHint or None
        How to read an unmarked TIFF that holds a mosaic.

    Returns
    -------
    Result
        With its `digest` where there was a frame. A file that cannot be measured has its state and the cause
        in `file`, no readings, and a verdict that says so.

    Raises
    ------
    UsageError
        For a preset that does not exist, a decoder that is not installed, or a sheet that is no `Sheet`.
    """
    *_, result = measure_stages(path, sheet, preset=preset, decoder=decoder, mosaic=mosaic)
    return result


def measure_stages(
    path: AnyPath | Loaded | Opened,
    sheet: Sheet | None = None,
    *,
    preset: str | None = None,
    decoder: str = "auto",
    mosaic: MosaicHint | None = None,
) -> Iterator[Result]:
    """Measure and judge one capture, what is needed first before the rest.

    Parameters are those of `measure_capture`.

    Yields
    ------
    Result
        First wholeness, settings and the measurements whose `Spec.first` is set, without a digest; then the
        whole result. A file that cannot be measured has one result only.

    Raises
    ------
    UsageError
        As `measure_capture`.
    """
    from qc.digest import make_digest, tile_light
    from qc.measure import specs as all_specs

    check_call(sheet, preset)
    opened = path if isinstance(path, Opened) else open_capture(path, decoder, mosaic)
    specs = [spec for spec in all_specs() if not spec.companions]
    if (frame := opened.frame) is None:
        yield _result(opened, [], (), specs=specs, sheet=sheet, preset=preset)
        return
    zones, brief = _intent(sheet)
    light = tile_light(frame)
    findings = (*frame.findings, *_no_picture(frame, light))
    first = [spec for spec in specs if spec.first]
    measured = {spec.name: spec(frame, zones=zones, brief=brief) for spec in first}
    yield _result(opened, list(measured.values()), findings, specs=first, sheet=sheet, preset=preset)
    measured |= {spec.name: spec(frame, zones=zones, brief=brief) for spec in specs if not spec.first}
    in_order = [measured[spec.name] for spec in specs]
    digest = make_digest(frame, in_order, light=light)
    yield _result(opened, in_order, findings, specs=specs, sheet=sheet, preset=preset, digest=digest)


def unmeasured(path: AnyPath, cause: str, *, size: int = 0) -> Result:
    """Return the result of a capture that could not be measured for a reason that lies not in the file.

    Parameters
    ----------
    path : path
        The capture.
    cause : str
        In words: "took longer than 60 s and was stopped".
    size : int
        Its bytes.
    """
    name = os.fsdecode(path)
    file = FileFacts(path=name, name=Path(name).name, bytes=size, state="unreadable", detail=cause)
    return _result(Opened(file=file, camera=CameraFacts()), [], (), specs=[], sheet=None, preset=None)


def rejudge(result: Result, sheet: Sheet | None = None, *, preset: str | None = None) -> Result:
    """Judge a capture that was measured before by other limits; nothing is decoded.

    Parameters
    ----------
    result : Result
        Of `measure_capture` or `measure_ambient`, or read back from a log.
    sheet, preset
        As for `measure_capture`; the zones must be those it was measured with.

    Returns
    -------
    Result
        The same with another verdict and the sheet's name and digest.
    """
    from qc.measure import specs as all_specs

    check_call(sheet, preset)
    specs = [spec for spec in all_specs() if spec.name in result.made_by.methods]
    limits = resolve(specs, sheet, preset)
    findings = _advised_again(result, limits) if result.schema == "qc.ambient/1" else result.findings
    verdict = judge(
        result.file,
        result.readings,
        findings,
        specs=specs,
        zones=sheet.zones if sheet else (),
        limits=limits,
    )
    about = (sheet.name, sheet.digest) if sheet else (None, None)
    return replace(result, findings=findings, verdict=verdict, sheet_name=about[0], sheet_digest=about[1])


def open_capture(source: AnyPath | Loaded, decoder: str = "auto", mosaic: MosaicHint | None = None) -> Opened:
    """Open and decode one capture, without measuring it; what cannot be read is told by its state, not raised.

    Parameters
    ----------
    source, decoder, mosaic
        As for `measure_capture`.
    """
    from qc.container import Loaded, inspect, load
    from qc.decode import decode

    path = source.path if isinstance(source, Loaded) else source
    file = FileFacts(path=os.fsdecode(path), name=Path(os.fsdecode(path)).name)
    camera = CameraFacts()
    try:
        loaded = source if isinstance(source, Loaded) else load(source)
        file = replace(file, bytes=loaded.size, content=loaded.content, sha256=loaded.sha256)
        container = inspect(loaded.data, name=loaded.name)
        camera = CameraFacts(settings=container.camera)
        frame = decode(loaded, container, decoder=decoder, mosaic=mosaic)
    except CaptureError as error:
        return Opened(file=replace(file, state=cast(State, error.state), detail=error.cause), camera=camera)
    width, height = frame.upright_size
    camera = CameraFacts(settings=frame.camera, kind=frame.kind, width=width, height=height)
    return Opened(file=file, camera=camera, frame=frame)


def measure_ambient(
    paths: Sequence[AnyPath],
    sheet: Sheet | None = None,
    *,
    preset: str | None = None,
    dark: Sequence[AnyPath] = (),
    sync_limit_s: float | None = None,
    decoder: str = "auto",
    mosaic: MosaicHint | None = None,
) -> Result:
    """Run the ambient test on frames shot with and without the flash.

    Parameters
    ----------
    paths : sequence of path
        Two frames or more in any order, dark ones included or not.
    sheet, preset, decoder, mosaic
        As for `measure_capture`.
    dark : sequence of path
        Which frames are the dark ones; they are found when none is named.
    sync_limit_s : float or None
        Shortest shutter time at which flash and shutter agree; goes before the sheet's.

    Returns
    -------
    Result
        `file` and `camera` are those of the lit frame that is measured, the first of `lit`; of several it is the
        one of the middle level, whatever their order. `dark` and `lit` hold all of them. When fewer than
        two frames can be read, it is the result of the first bad one, without readings.

    Raises
    ------
    UsageError
        When the frames cannot be compared (different bodies, sizes or kinds, a turned camera; only one), no frame
        that is named as dark can be read, or the sheet says that the light is continuous.
    """
    from qc.digest import make_digest
    from qc.measure.ambient import SPEC, arrange
    from qc.measure.ambient.advice import advised

    check_call(sheet, preset)
    if sheet is not None and sheet.light == "continuous":
        raise UsageError("the set sheet says that the light is continuous: there is no flash to test against")
    opened = _open_all(paths, dark, decoder, mosaic)
    _check_named_dark(opened)
    good = [(o, o.frame, told) for o, told in opened if o.frame is not None]
    bad = [o for o, _ in opened if o.frame is None]
    if len(good) < 2:
        empty = _result(bad[0], [], [_left_out(o) for o in bad[1:]], specs=[SPEC], sheet=sheet, preset=preset)
        return replace(empty, schema="qc.ambient/1")
    frames = [frame for _, frame, _ in good]
    named = [number for number, (_, _, told) in enumerate(good) if told]
    order = arrange(frames, named, names=[printable(o.file.name) for o, _, _ in good])
    zones, brief = _intent(sheet, sync_limit_s)
    lit = order.lit[0]
    companions = [frames[number] for number in order.companions]
    measured = SPEC(frames[lit], zones=zones, brief=brief, companions=companions)
    wanted = _wanted_under_flash(resolve([SPEC], sheet, preset))
    advice = advised(measured.readings, measured.findings, frames[lit].camera, brief.sync_limit_s, wanted)
    measured = replace(measured, findings=(*measured.findings, *advice))
    findings = (*(_left_out(o) for o in bad), *_of_decoding([o for o, _, _ in good]), *order.findings)
    result = _result(
        good[lit][0],
        [measured],
        findings,
        specs=[SPEC],
        sheet=sheet,
        preset=preset,
        digest=make_digest(frames[lit], [measured]),
    )
    return replace(
        result,
        schema="qc.ambient/1",
        dark=tuple((good[n][0].file, good[n][0].camera) for n in order.dark),
        lit=tuple((good[n][0].file, good[n][0].camera) for n in order.lit),
    )


def _wanted_under_flash(limits: Mapping[Place, Limit]) -> dict[Place, Wanted]:
    """Return what the mildest bar of each limit on ambient light asks for, by place."""
    from qc.measure.ambient.advice import READ, Wanted

    wanted = {}
    for place, limit in limits.items():
        bars = [bar for bar in (limit.values.note, limit.values.warn, limit.values.halt) if bar is not None]
        if place[0] in READ and bars:
            wanted[place] = Wanted(bars[0], limit.origin)
    return wanted


def _advised_again(result: Result, limits: Mapping[Place, Limit]) -> tuple[Finding, ...]:
    """Return the findings of an ambient test with advice that fits other limits."""
    from qc.measure.ambient.advice import advised

    kept = tuple(finding for finding in result.findings if finding.code != "advice")
    of_measurement = [finding for finding in kept if "frame" not in finding.data]  # not of a frame left out
    sync = next((f.data["sync_limit_s"] for f in kept if f.code == "prediction"), None)
    wanted = _wanted_under_flash(limits)
    return (*kept, *advised(result.readings, of_measurement, result.camera.settings, sync, wanted))


def _open_all(
    paths: Sequence[AnyPath], dark: Sequence[AnyPath], decoder: str, mosaic: MosaicHint | None
) -> list[tuple[Opened, bool]]:
    """Open every frame once, with whether it was named as dark."""
    named = {os.fsdecode(path) for path in dark}
    every = list(dict.fromkeys(os.fsdecode(path) for path in (*paths, *dark)))
    if len(every) < 2:
        raise UsageError("the ambient test needs two frames: one with the flash, one without")
    opened = [(open_capture(path, decoder, mosaic), path in named) for path in every]
    # as they were taken: what a test says does not depend on the order of its arguments
    return sorted(opened, key=lambda one: (one[0].camera.settings.taken or "", one[0].file.name, one[0].file.path))


def _check_named_dark(opened: Sequence[tuple[Opened, bool]]) -> None:
    """Refuse a test whose named dark frames cannot be read: another frame would be taken for the dark one."""
    named = [one for one, told in opened if told]
    if named and all(one.frame is None for one in named):
        why = "; ".join(f"{printable(one.file.path)}: {one.file.detail}" for one in named)
        raise UsageError(f"{why}; no frame that is named as dark can be read")


def _of_decoding(opened: Sequence[Opened]) -> Iterator[Finding]:
    """Yield what decoding says of the frames of a test, once, with the names of those that it says it of."""
    said: dict[str, tuple[Finding, list[str]]] = {}
    for one in opened:
        for finding in one.frame.findings if one.frame else ():
            if finding.code not in OF_ONE_FRAME:
                said.setdefault(finding.text, (finding, []))[1].append(printable(one.file.name))
    for text, (finding, names) in said.items():
        yield replace(finding, text=f"{', '.join(names)}: {text}")


def _left_out(opened: Opened) -> Finding:
    text = f"{printable(opened.file.name)} was left out: {opened.file.detail}"
    return Finding(code="left_out", text=text, data={"name": opened.file.name, "state": opened.file.state})


def _no_picture(frame: Frame, light: NDArray[np.float32]) -> tuple[Finding, ...]:
    import cv2
    import numpy as np

    brightest = 1.0  # a frame too small for a cell says nothing
    if np.isfinite(light).any():
        # the median of 3 × 3 tiles, so that a hot photosite in one small tile does not pass for light
        brightest = max(float(cv2.medianBlur(np.nan_to_num(p), 3).max()) for p in light)
    sample = frame.clip[:, ::4, ::4]  # every 16th cell tells "nearly all" well enough
    burnt = float((sample > 0).all(axis=0).mean()) if sample.size else 0.0
    if burnt >= BURNT_PICTURE:
        text = f"{burnt:.0%} of the frame is burnt in every colour: there is no picture"
        return (Finding(code="all_burnt", text=text, data={"burnt_percent": round(100 * burnt, 2)}),)
    if brightest < DARKEST_PICTURE:
        text = "nearly black: no flash, or the cap is on"
        return (Finding(code="nearly_black", text=text, data={"brightest": round(brightest, 6)}),)
    return ()


def _intent(sheet: Sheet | None, sync_limit_s: float | None = None) -> tuple[tuple[Zone, ...], Brief]:
    intent = sheet or Sheet()
    return intent.zones, intent.brief(sync_limit_s=sync_limit_s)


def check_call(sheet: object, preset: str | None) -> None:
    """Refuse what is no sheet or no preset: UsageError."""
    if sheet is not None and not isinstance(sheet, Sheet):
        what = f"{printable(sheet)!r}" if isinstance(sheet, (str, bytes, os.PathLike)) else type(sheet).__name__
        raise UsageError(f"sheet must be a Sheet, not {what}: qc.read_sheet(path) makes one")
    if preset is not None and preset not in PRESETS:
        raise UsageError(f"no preset is called {preset!r}: there are {', '.join(PRESETS)}")


def _result(
    opened: Opened,
    measured: Sequence[Measured],
    findings: Sequence[Finding],
    *,
    specs: Sequence[Spec],
    sheet: Sheet | None,
    preset: str | None,
    digest: Digest | None = None,
) -> Result:
    readings = tuple(reading for m in measured for reading in m.readings)
    found = (*findings, *(finding for m in measured for finding in m.findings))
    zones = sheet.zones if sheet else ()
    limits = resolve(specs, sheet, preset)
    return Result(
        file=opened.file,
        camera=opened.camera,
        readings=readings,
        findings=found,
        regions=tuple(region for m in measured for region in m.regions),
        verdict=judge(opened.file, readings, found, specs=specs, zones=zones, limits=limits),
        sheet_name=sheet.name if sheet else None,
        sheet_digest=sheet.digest if sheet else None,
        made_by=MadeBy(
            tool=tool(),
            decoder=opened.frame.decoder if opened.frame else None,
            methods={spec.name: spec.version for spec in specs},
        ),
        measured_at=datetime.now().astimezone().isoformat(timespec="seconds"),
        digest=digest,
    )


@cache
def tool() -> str:
    """Return name and version as results record them."""
    try:
        return f"framegauge {metadata.version('framegauge')}"
    except metadata.PackageNotFoundError:  # run from a source tree that is not installed
        return "framegauge"
