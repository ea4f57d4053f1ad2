"""`Session`: one capture that zones are drawn on. Its frame never leaves the one thread that measures it."""

from __future__ import annotations

import asyncio
import io
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from qc._preview import preview_of
from qc.errors import QcError, UsageError, printable
from qc.judge import judge
from qc.pages.drawing.asked import MOST_ZONES, DrawnZone, Measure, Save
from qc.pages.drawing.questions import Check, Questions
from qc.pages.drawing.readings import ZoneReadings
from qc.pages.drawing.says import LINES, judged, line, waiting
from qc.pages.drawing.target import SeenText, Target
from qc.pipeline import Opened, measure_capture, open_capture
from qc.result import Result
from qc.sheet.edit import ZoneText
from qc.sheet.zones import Role, Zone
from qc.show.signs import clean
from qc.words import counted

if TYPE_CHECKING:
    from qc.decode import MosaicHint
    from qc.frame import Frame

ROLES: Final[dict[Role, str]] = {
    Role.PROTECT: "must hold detail",
    Role.ALLOW: "burnt highlights are meant",
    Role.SHARP: "must be sharp",
    Role.MOVING: "left out when frames are compared",
    Role.WITNESS: "neutral, stays in frame",
    Role.PATCH: "the reference: neutral, or a patch of a chart",
    Role.BACKDROP: "free of highlight limits, judged for evenness",
}
"""What each role is for."""

NOTHING: Final = "nothing saved"
QUALITY: Final = 88
_UNNAMED = "zone"

Answer = dict[str, Any]
Made = TypeVar("Made")


class Session:
    """One capture, opened once, and the sheet its zones are saved to.

    Parameters
    ----------
    capture : Path
        The file; opened read-only.
    target : callable
        Makes the `Target`; it is given what returns the capture's `Result`.
    decoder, mosaic
        As for `qc.measure_capture`.

    Raises
    ------
    UsageError
        When the capture cannot be read; the file and the cause in one line.
    SheetError
        When the sheet has mistakes; the capture is then not opened.
    """

    def __init__(
        self,
        capture: Path,
        target: Callable[[Callable[[], Result]], Target],
        *,
        decoder: str = "auto",
        mosaic: MosaicHint | None = None,
    ) -> None:
        self.said = NOTHING
        self.name = clean(capture.name)
        self._target = target(lambda: self._result.result())
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="capture")
        self._questions = Questions(self._thread.submit)
        try:
            self._opened = self._thread.submit(_opened, capture, decoder, mosaic).result()
            self.picture, self._size = self._thread.submit(_picture, self._frame).result()
        except BaseException:
            self.close()
            raise
        self._readings = ZoneReadings(self._frame, self._target.sheet.brief())
        self._result: Future[Result] = self._thread.submit(measure_capture, self._opened)
        self._found: Future[list[Answer]] = self._thread.submit(self._look)

    def start(self) -> Answer:
        """Return what the page begins with, the zones as they are in the sheet now.

        Raises
        ------
        UsageError
            With one clause, when the sheet that was there cannot be read any more.
        """
        target = self._target
        try:
            sheet = self._sheet_now()
        except QcError as error:
            raise UsageError(target.why_not(error)) from error
        return {
            "name": self.name,
            "size": self._size,
            **sheet,
            "baseline": self.name if target.new else target.sheet.baseline,
            "most": MOST_ZONES,
            "roles": [
                {
                    "role": role.value,
                    "about": about,
                    "budget": role is Role.ALLOW,
                    "reference": role is Role.PATCH,
                }
                for role, about in ROLES.items()
            ],
        }

    async def found(self) -> list[Answer]:
        """Return the places that the measurements found, as zones to take."""
        return await asyncio.shield(asyncio.wrap_future(self._found))

    async def measure(self, asked: Measure) -> Answer:
        """Return the readings of a zone in words.

        Raises
        ------
        OvertakenError
            When a newer question of the same tab came.
        """
        return await asyncio.wrap_future(
            self._questions.ask(asked.tab, lambda check: self._measured(asked, check))
        )

    async def save(self, asked: Save) -> Answer:
        """Write the zones to the sheet: what differs from those that the page saw there.

        Raises
        ------
        UsageError
            With one clause; nothing was written then.
        """
        zones = [zone.text() for zone in asked.zones]
        seen = [SeenText(zone=replace(zone.text(), was=zone.name), limits=zone.limits) for zone in asked.seen]
        return await asyncio.shield(self._in_thread(lambda: self._saved(seen, zones)))

    def close(self) -> None:
        """Measure nothing more, and let go of the frame."""
        self._thread.shutdown(wait=True, cancel_futures=True)
        self._questions.close()

    @property
    def _frame(self) -> Frame:
        assert self._opened.frame is not None
        return self._opened.frame

    async def _in_thread(self, work: Callable[[], Made]) -> Made:
        return await asyncio.wrap_future(self._thread.submit(work))

    def _sheet_now(self) -> Answer:
        target = self._target
        zones = [{**_as_json(seen.zone), "limits": seen.limits} for seen in target.now()]
        return {"sheet": clean(target.path.name), "new": target.new, "zones": zones}

    # in the thread

    def _look(self) -> list[Answer]:
        from qc.pages.drawing.found import found

        return [_as_json(place) for place in found(self._frame, self._result.result())]

    def _measured(self, asked: Measure, check: Check) -> Answer:
        zone = asked.zone.zone(asked.zone.name or _UNNAMED)
        others = [other.zone(other.name) for other in asked.others]
        lines = []
        for what in LINES:
            check()
            lines.append(self._line(what, zone, others, rest=asked.rest))
        left = any(line["waiting"] for line in lines)
        check()
        return {
            "lines": lines,
            "judged": [] if left else self._judged(asked.zone, zone, others),
            "area": round(self._readings.area(zone), 2),
            "waiting": left,
        }

    def _line(self, what: str, zone: Zone, others: Sequence[Zone], *, rest: bool) -> Answer:
        measurement, role, _ = LINES[what]
        tried = zone if zone.role is role else replace(zone, role=role)
        zones = [*others, tried]
        slow = (what == "blur" and not self._readings.quick_blur(zones)) or (
            what == "cast" and not self._readings.quick_cast(tried, zones)
        )
        if slow and not rest:
            return waiting(what)
        return line(what, self._readings.by(measurement, tried, zones), role=zone.role)

    def _judged(self, drawn: DrawnZone, zone: Zone, others: Sequence[Zone]) -> list[Answer]:
        sheet = self._target.sheet
        limits = sheet.zone_limits.get(drawn.was or "")  # they stay with a zone that gets another name
        alone = replace(sheet, zones=(zone,), zone_limits={zone.name: limits} if limits else {})
        return judged(zone, self._readings.all(zone, [*others, zone]), alone)

    def _saved(self, seen: Sequence[SeenText], zones: Sequence[ZoneText]) -> Answer:
        try:
            more = self._target.save(seen, zones)
            now = self._sheet_now()
        except QcError as error:
            raise UsageError(self._target.why_not(error)) from error
        self._readings.brief = self._target.sheet.brief()
        self.said = f"{counted(len(now['zones']), 'zone')} saved in {now['sheet']}"
        return {"said": f"{self.said}; {more}" if more else self.said, **now}


def _opened(capture: Path, decoder: str, mosaic: MosaicHint | None) -> Opened:
    opened = open_capture(capture, decoder, mosaic)
    if opened.frame is None:
        why = judge(opened.file, (), (), specs=(), limits={}).causes[0].text
        raise UsageError(f"{printable(capture)}: {why}")
    if opened.frame.cells.size == 0:
        raise UsageError(f"{printable(capture)}: too small to draw on")
    return opened


def _picture(frame: Frame) -> tuple[bytes, tuple[int, int]]:
    """Return the upright grey preview as JPEG, and its width and height."""
    import imageio.v3 as iio

    preview, _ = preview_of(frame)
    buffer = io.BytesIO()
    iio.imwrite(buffer, preview, extension=".jpeg", quality=QUALITY)
    return buffer.getvalue(), (preview.shape[1], preview.shape[0])


def _as_json(place: Any) -> Answer:
    from dataclasses import asdict

    return asdict(place)
