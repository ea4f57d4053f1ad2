"""Drawings of a result as PNG files: which there are, what is written above them, where they may lie."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from qc.errors import UsageError, printable
from qc.reading import Drawing, Level, Reading, ReadingSpec, Spec, TileMap
from qc.result import Cause, Result
from qc.sheet.zones import Zone
from qc.show.draw._canvas import Caption, Picture
from qc.show.rows import spoken_error
from qc.words import spoken_number

MADE_BY: Final = "framegauge"
_CAPTURE = "framegauge capture"
_LONGEST_NAME = 150
_MOST_SAID = 3
_DEVICE = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)
_SEVERITY = (Level.CLEAR, Level.NOTE, Level.WARN, Level.HALT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One picture to draw: `tile_map` is None for outlines."""

    spec: Spec
    part: str
    kind: Drawing
    tile_map: TileMap | None = None


def save_pictures(
    result: Result,
    folder: Path,
    zones: Sequence[Zone] = (),
    *,
    specs: Sequence[Spec] | None = None,
    beside_capture: bool = False,
) -> tuple[Path, ...]:
    """Draw everything a result has to show, from its digest alone.

    Each measurement with something to show gets ``NAME.measurement.png``, its further maps
    ``NAME.measurement.quantity.png``. A picture made earlier of the same capture is replaced in one step; one of
    another capture with the same name stays, and this one's name gets a tilde and a few letters more.

    Parameters
    ----------
    result : Result
        Of `measure_capture` or `measure_ambient`. One without a digest has no pictures.
    folder : Path
        Made when it does not exist.
    zones : sequence of Zone
        Drawn thin on every picture.
    specs : sequence of Spec or None
        Measurements to draw; all of `qc.measure` when None.
    beside_capture : bool
        Allow `folder` to be the capture's own, or one inside it.

    Returns
    -------
    tuple of Path
        The files written, in the order of reporting.

    Raises
    ------
    UsageError
        When `folder` is the capture's own or lies in it and that was not allowed, cannot be written to, or holds a
        file of a needed name that was not made here. Nothing is written then.
    """
    if result.digest is None:
        return ()
    if specs is None:
        from qc.measure import specs as all_specs

        specs = all_specs()
    jobs = list(jobs_of(result, specs))
    if not jobs:
        return ()
    capture = Path(result.file.path).absolute()
    if not beside_capture:
        check_folder(folder, [capture])
    mark = hashlib.blake2b(os.fsencode(capture), digest_size=8).hexdigest()
    targets = _targets(folder, safe_name(result.file.name), [job.part for job in jobs], mark)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for job, target in zip(jobs, targets, strict=True):
            _save(draw(result, job, zones), target, mark)
    except OSError as error:
        raise UsageError(f"{printable(folder)}: pictures cannot be written: {error.strerror}") from error
    return tuple(targets)


def check_folder(folder: Path, captures: Sequence[Path], *, what: str = "pictures") -> None:
    """Refuse a folder to write to that is a folder of captures, or lies inside one.

    Parameters
    ----------
    folder : Path
        Where to write.
    captures : sequence of Path
        Whose folders are meant.
    what : str
        What is to be written, for the message and the folder it proposes.

    Raises
    ------
    UsageError
        Naming a folder beside the captures that would do.
    """
    place = folder.resolve()
    for home in dict.fromkeys(capture.absolute().parent.resolve() for capture in captures):
        # where captures lie at the root of a disk, no folder of it would be left
        if place == home or (home.name and home in place.parents):
            such = f", such as {printable(home.with_name(f'{home.name}.qc') / what)}" if home.name else ""
            raise UsageError(
                f"{printable(folder)}: {what} would lie among the captures; name another folder{such}"
            )


def jobs_of(result: Result, specs: Sequence[Spec]) -> Iterator[Job]:
    """Yield the pictures of a result, each measurement's main one first."""
    digest = result.digest
    if digest is None:
        return
    for spec in specs:
        names = {reading.name for reading in spec.readings}
        jobs = [
            Job(spec=spec, part=f"{spec.name}.{m.name.partition('.')[2]}", kind=m.drawing, tile_map=m)
            for m in digest.maps
            if m.name in names and m.drawing in ("tiles", "arrows") and np.isfinite(m.values).any()
        ]
        if names & set(digest.region_readings):
            jobs.append(Job(spec=spec, part=f"{spec.name}.outlines", kind="outlines"))
        jobs.sort(key=lambda job: job.kind != spec.drawing)
        for number, job in enumerate(jobs):
            part = job.part if number else spec.name
            yield Job(spec=spec, part=part, kind=job.kind, tile_map=job.tile_map)


def draw(result: Result, job: Job, zones: Sequence[Zone] = ()) -> Picture:
    """Draw one picture of a result."""
    from qc.show.draw.arrows import draw_arrows
    from qc.show.draw.outlines import draw_outlines
    from qc.show.draw.tiles import draw_tiles

    digest = result.digest
    assert digest is not None
    caption = caption_of(result, job)
    if job.tile_map is None:
        names = {reading.name for reading in job.spec.readings}
        pairs = zip(digest.regions, digest.region_readings, strict=True)
        return draw_outlines(digest, [r for r, name in pairs if name in names], caption=caption, zones=zones)
    if job.kind == "arrows":
        return draw_arrows(digest, job.tile_map, caption=caption, zones=zones)
    worse_low = job.spec.reading(job.tile_map.name).worse == "low"
    return draw_tiles(digest, job.tile_map, caption=caption, zones=zones, bright="low" if worse_low else "high")


def caption_of(result: Result, job: Job) -> Caption:
    """Say what a picture shows: the reading's meaning, its values, and what it adds to the verdict."""
    spec = job.spec
    if job.tile_map is not None:
        shown = [spec.reading(job.tile_map.name)]
        readings = [r for r in result.readings if r.name == job.tile_map.name]
        values = ", ".join(f"{r.zone or 'frame'} {value_text(r, shown[0])}" for r in readings)
        values = f"In {shown[0].unit}: {values}" if readings else ""
    else:
        shown = [reading for reading in spec.readings if reading.per_frame][:_MOST_SAID]
        of_frame = {reading.name: reading for reading in result.readings if reading.zone is None}
        pairs = [(s, of_frame.get(s.name)) for s in shown]
        values = "; ".join(
            f"{_quantity(s)} {value_text(r, s)} {r.unit if r.reason is None else ''}".strip()
            for s, r in pairs
            if r
        )
    causes = [c for c in result.verdict.causes if _belongs(c, spec)]
    worst = max(causes, key=lambda c: _SEVERITY.index(c.level) if c.level in _SEVERITY else -1, default=None)
    return Caption(
        name=printable(result.file.name),
        shown=shown[0].meaning if shown else spec.name,
        values=values,
        level=worst.level if worst else None,
        cause=worst.text if worst else "",
    )


def value_text(reading: Reading, spec: ReadingSpec) -> str:
    """Say a reading in words without its unit: bound, value, ±; or why there is none."""
    if reading.reason is not None:
        return f"not measured ({reading.reason.text})"
    about = "" if reading.plus_minus is None else f" ± {spoken_error(reading.plus_minus, spec.decimals)}"
    bound = f"{reading.bound} " if reading.bound else ""
    return f"{bound}{spoken_number(reading.value or 0.0, spec.decimals)}{about}"


def _quantity(spec: ReadingSpec) -> str:
    return spec.name.partition(".")[2].replace("_", " ")


def safe_name(name: str) -> str:
    """Return a capture's name as every file system takes it: no separators, no hidden files, not too long."""
    kept = "".join(c if c.isalnum() or c in " ._-()+~@" else "_" for c in name).strip(" .") or "_"
    short = kept.encode()[:_LONGEST_NAME].decode(errors="ignore")
    return f"_{short}" if _DEVICE.match(short) else short


def _belongs(cause: Cause, spec: Spec) -> bool:
    return cause.reading in spec.findings or any(cause.reading == r.name for r in spec.readings)


def _targets(folder: Path, name: str, parts: Sequence[str], mark: str) -> list[Path]:
    """Choose file names; one stem for all pictures of a capture."""
    for stem in (name, f"{name}~{mark}"):
        targets = [folder / f"{stem}.{part}.png" for part in parts]
        makers = {target: _maker(target) for target in targets if os.path.lexists(target)}
        for target, maker in makers.items():
            if maker is None:
                raise UsageError(f"{printable(target)}: there is such a file, not made by {MADE_BY}; left alone")
        if set(makers.values()) <= {mark}:
            break
    return targets


def _maker(path: Path) -> str | None:
    """Return the mark of the capture that a picture of ours was made from; None for a file not made here."""
    from PIL import Image

    try:
        with Image.open(path) as image:
            mark = image.info.get(_CAPTURE)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None  # whatever it is, it is not a picture that was written here
    return mark if isinstance(mark, str) else None


def _save(picture: Picture, target: Path, mark: str) -> None:
    """Write a PNG under a temporary name, then move it into place."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    facts = PngInfo()
    facts.add_text("Software", MADE_BY)
    facts.add_text(_CAPTURE, mark)
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            Image.fromarray(picture).save(file, "PNG", pnginfo=facts, compress_level=4)
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
