"""`qc demo`: a rehearsed shoot end to end, measured against the known truth."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc_cli import options as opt
from qc_cli.output import AT_HALT, DONE, INTERRUPTED, NOTHING_DONE, Output

if TYPE_CHECKING:
    from qc.rehearse.demo import Section


def demo(
    keep: Annotated[
        Path | None,
        typer.Option("--keep", metavar="DIR", help="New folder for captures and drawings; all of it stays."),
    ] = None,
    debug: opt.DebugOption = False,
) -> None:
    """Rehearse a short shoot and compare with the truth.

    Faults are planted and the frames are simulated, so the truth is known. Exit status 0 when every measured
    value lies within its
    stated tolerance, 1 when one does not. Drawings are left to open.
    """
    output = Output(debug=debug)
    from qc.errors import QcError, printable
    from qc.rehearse.demo import PICTURES, SIMULATED, demonstrate

    done: list[Section] = []
    try:
        with _folder(keep) as folder:
            output.lines([SIMULATED], hang=0)
            for section in demonstrate(folder):
                output.lines(["", *_lines(section)])
                done.append(section)
            drawings = sum(len(section.pictures) for section in done)
            output.lines(["", *_closing(done), f"{drawings} drawings in {printable(folder / PICTURES)}"])
    except KeyboardInterrupt:
        raise typer.Exit(INTERRUPTED) from None
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault("demonstration", error)
        raise typer.Exit(NOTHING_DONE) from (error if debug else None)
    raise typer.Exit(DONE if all(row.holds for section in done for row in section.rows) else AT_HALT)


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    """Give a folder; of one that nobody asked for, only the drawings stay."""
    if keep is not None:
        yield keep
        return
    from qc.rehearse.demo import CAPTURES

    folder = Path(tempfile.mkdtemp(prefix="qc-demo-"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder / CAPTURES, ignore_errors=True)


def _lines(section: Section) -> Iterator[str]:
    """One section: what was planted, the verdict as `qc check` says it, and measured beside true."""
    from qc.measure import specs
    from qc.show import text

    yield f"{' + '.join(section.names)}: {section.about}"
    yield "  " + text.plain_line(section.result, specs(), name_width=0)
    yield f"  {'':<30}{'measured':>16}{'true':>16}{'within':>8}"
    for row in section.rows:
        mark = "" if row.holds else "  off"
        yield f"  {row.what:<30}{row.measured:>16}{row.true:>16}{row.within:>8}{mark}".rstrip()


def _closing(done: list[Section]) -> Iterator[str]:
    rows = [row for section in done for row in section.rows]
    off = sum(not row.holds for row in rows)
    held = f"{len(rows) - off} of {len(rows)} measured values lie within their tolerance of the truth"
    yield held + ("." if not off else f"; {off} {'does' if off == 1 else 'do'} not.")
