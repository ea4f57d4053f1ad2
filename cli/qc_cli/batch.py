"""`qc batch`: check a whole folder of captures."""

from __future__ import annotations

import contextlib
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qc_cli import options as opt
from qc_cli.meter import Meter
from qc_cli.output import AT_HALT, DONE, INTERRUPTED, NOTHING_DONE, Output, status
from qc_cli.watch import ending

if TYPE_CHECKING:
    from qc.batch.check import DayCheck
    from qc.batch.progress import Progress
    from qc.event import Event
    from qc.intake.updates import Judged
    from qc.reading import Level
    from qc.series.entry import Standing
    from qc.show.report import Made


def batch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", readable=False, help="Folder of the captures.")],
    sheet: opt.SheetOption = None,
    preset: opt.PresetOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder of the log; FOLDER.qc when not given.")
    ] = None,
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", metavar="N", min=1, help="Captures at a time; as cores and memory allow."),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", metavar="ADDRESS", help="Measure on this dask.distributed scheduler."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="JSON Lines on stdout: captures and events.")] = False,
    every: Annotated[
        bool, typer.Option("--verbose", "-v", help="Every frame, not only those that need a decision.")
    ] = False,
    decoder: opt.DecoderOption = opt.DecoderName.AUTO,
    mosaic: opt.MosaicOption = None,
    black: opt.BlackOption = None,
    white: opt.WhiteOption = None,
    no_color: opt.NoColorOption = False,
    debug: opt.DebugOption = False,
) -> None:
    """Measure every capture of a folder; tell what needs a decision.

    Then the report is written. What is logged already, by a watch or an earlier run, is not measured again. It may
    be ended at any time: the next run goes on. Nothing is ever written into the folder.
    """
    output = Output(json=json, no_color=no_color, debug=debug)
    how: dict[str, Any] = {"sheet": sheet, "preset": preset, "out": out, "jobs": jobs, "decoder": decoder}
    how["mosaic"] = opt.mosaic_hint(mosaic, black, white)
    from qc.errors import QcError, printable

    try:
        with _where(scheduler, how), Meter(plain=output.mixed(), no_color=no_color) as meter:
            code = _check(folder, how, output, meter, every=every)
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault(printable(folder), error)
        raise typer.Exit(NOTHING_DONE) from None
    raise typer.Exit(code)


def _check(folder: Path, how: dict[str, Any], output: Output, meter: Meter, *, every: bool) -> int:
    from qc.batch.check import DayCheck
    from qc.event import Event
    from qc.show.checking import progress_line, stopped_line
    from qc.show.report import report_again

    def show(progress: Progress) -> None:
        meter.show(progress_line(progress))

    check = DayCheck(folder, on_progress=show, **how)
    telling = _Telling(check, output, meter, every=every)
    with ending(check.stop):
        for told in check.run():
            telling.event(told) if isinstance(told, Event) else telling.capture(told)
    if not check.complete:
        meter.say(stopped_line(check.progress))
        return INTERRUPTED
    meter.end()
    if telling.marks:
        telling.report(report_again(check.out))
    telling.close(judged=how["preset"] is not None)
    return telling.status()


class _Telling:
    """What is written of a check: events as they happen, then frames in the order taken, then the sum."""

    def __init__(self, check: DayCheck, output: Output, meter: Meter, *, every: bool) -> None:
        self.marks: list[str] = []
        self.faults = 0
        self._check = check
        self._output = output
        self._meter = meter
        self._every = every
        self._levels: dict[str, tuple[str, Level]] = {}
        self._judged = False
        self._made: Made | None = None
        self._before: Standing | None = None
        self._name_width = 0

    def event(self, event: Event) -> None:
        """Tell an event, and count it when captures are not judged as they should be because of it."""
        from qc.show.watching.layout import plain_line
        from qc.show.watching.words import of_event

        self.faults += event.kind in ("sheet_bad", "folder_closed")
        self.marks += ["lost"] if event.kind == "arriving" else []
        if self._output.json:
            self._json(event)
        elif event.kind != "joined":  # a JPEG joins its raw at every frame of such a day
            self._meter.say(plain_line(of_event(event)))

    def capture(self, told: Judged) -> None:
        """Tell a frame when it needs a decision or all are asked for."""
        from qc.show.checking import needs_a_decision

        self._meter.end()
        result, standing = told.result, told.standing
        self.marks.append("lost" if result.camera.kind is None else str(standing.level))
        self._levels[standing.content] = result.file.name, standing.level
        self._judged |= result.sheet_digest is not None
        if self._output.json:
            self._json(told)
        elif self._every or needs_a_decision(told):
            self._line(told)
        self._before = standing

    def report(self, made: Made) -> None:
        """Tell what is found about the day as a whole, as far as it needs a decision or all is asked for."""
        from qc.show.checking import NEEDS_A_DECISION, finding_line

        self._made = made
        if self._output.json:
            return
        told = [finding for finding in made.told if self._every or finding.level in NEEDS_A_DECISION]
        self._output.lines(finding_line(finding) for finding in told)

    def close(self, *, judged: bool) -> None:
        """Tell the sum, and what to do where nothing of taste was judged."""
        from qc.errors import printable
        from qc.show.checking import closing_lines
        from qc.show.watching.words import unjudged

        out = printable(self._check.out)
        if not self._levels:
            self._meter.say(f"{printable(self._check.folder)}: no captures")
            return
        command = f"qc sheet draw --folder {shlex.quote(printable(self._check.folder))}"
        for line in () if judged or self._judged else unjudged(command):
            self._meter.say(line)
        for line in closing_lines(self._levels, self._check.progress, out):
            self._meter.say(line)
        if self._made is not None:
            self._meter.say(f"report: {printable(self._made.index)}")

    def status(self) -> int:
        """Return the exit status: that of the frames, or 1 where only the day as a whole has a halt."""
        from qc.reading import Level

        of_frames = status(self.marks, faults=self.faults)
        at_halt = self._made is not None and bool(self._made.findings.get(Level.HALT))
        return AT_HALT if of_frames == DONE and at_halt else of_frames

    def _json(self, told: Judged | Event) -> None:
        from qc.show.watching.lines import json_lines

        for line in json_lines(told):
            self._output.line(line)

    def _line(self, told: Judged) -> None:
        from qc.show.signs import LONGEST_NAME, clean
        from qc.show.watching.layout import Paper, line, plain_line
        from qc.show.watching.words import of_capture

        said = of_capture(told.result, told.standing, self._check.specs, self._before)
        self._name_width = max(self._name_width, min(len(clean(said.name)), LONGEST_NAME))
        if not self._output.columns():
            self._output.line(plain_line(said, name_width=self._name_width))
            return
        console = self._output.console()
        paper = Paper(width=console.width, encoding=console.encoding)
        self._output.printed(console, line(said, paper, name_width=self._name_width))


@contextlib.contextmanager
def _where(scheduler: str | None, how: dict[str, Any]) -> Iterator[None]:
    """Let the check run on a cluster when one is named."""
    if scheduler is None:
        yield
        return
    from qc.batch.cluster import connected

    with connected(scheduler) as cluster:
        how["executor"] = cluster.executor
        how["jobs"] = how["jobs"] or cluster.jobs
        yield
