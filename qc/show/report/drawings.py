"""The drawings of one frame: its picture and what lies over it, each layer a file of its own."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import quote

from qc.digest import Digest
from qc.reading import Spec
from qc.result import Result
from qc.sheet.zones import Zone
from qc.show import layers
from qc.show.layers import Bright, Scale
from qc.show.lines import Size
from qc.show.pictures import Job, caption_of, jobs_of
from qc.show.report.names import PICTURES
from qc.show.text import clean

LONG_SIDE: Final = 1200
"""Most pixels along the long side of a picture in the report."""

QUALITY: Final = 80
"""Of its JPEG."""

Put = Callable[[str, bytes], None]
"""Writes a file under a name relative to the report."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """One drawing of a frame.

    Attributes
    ----------
    part : str
        ``"picture"``, else measurement and what of it, such as ``"sharpness.blur"``.
    called : str
        Its name on a button.
    title, values : str
        What is shown, and its numbers.
    spec : str
        Name of the measurement; empty for the plain picture.
    size : (int, int)
        Width and height of the picture.
    layers : tuple of str
        Files from the bottom up, as links relative to the report.
    scale : Scale or None
        Bar of a map.
    lift : int
        Stops that the picture's shadows were lifted by.
    """

    part: str
    called: str
    title: str = ""
    values: str = ""
    spec: str = ""
    size: Size
    layers: tuple[str, ...]
    scale: Scale | None = None
    lift: int = 0


def drawings_of(
    result: Result,
    digest: Digest,
    mark: str,
    *,
    zones: Sequence[Zone],
    specs: Sequence[Spec],
    put: Put,
    letters: float = 1.0,
) -> tuple[Drawing, ...]:
    """Write everything that a result has to show and return its drawings, the plain picture first.

    Parameters
    ----------
    result : Result
        Of a capture or of an ambient test.
    digest : Digest
        Its digest.
    mark : str
        What its files are called by.
    zones : sequence of Zone
        Of its sheet.
    specs : sequence of Spec
        The measurements.
    put : callable
        Writes a file.
    letters : float
        How many times as large as in a report letters are: where pictures are shown smaller.
    """
    data, size = layers.jpeg_of(digest, LONG_SIDE, QUALITY)
    base = _keep(put, f"{mark}.jpg", data)
    over = _zones(zones, size, put, letters)
    plain = Drawing(part="picture", called="picture", size=size, layers=(base, *over), lift=digest.lift)
    shown = replace(result, digest=digest)
    return plain, *(_drawing(shown, job, plain, mark, zones, put, letters) for job in jobs_of(shown, specs))


def _drawing(
    result: Result, job: Job, plain: Drawing, mark: str, zones: Sequence[Zone], put: Put, letters: float
) -> Drawing:
    caption = caption_of(result, job)
    base, *over = plain.layers
    between = [
        _keep(put, f"{mark}.{name}", data) for name, data in _layers(result, job, plain.size, zones, letters)
    ]
    return replace(
        plain,
        part=job.part,
        called=_called(job),
        title=_sentence(clean(caption.shown)),
        values=clean(caption.values),
        spec=job.spec.name,
        layers=(base, *between, *over),
        scale=None if job.tile_map is None else layers.scale_of(job.tile_map, _bright(job)),
    )


def _layers(
    result: Result, job: Job, size: Size, zones: Sequence[Zone], letters: float
) -> Iterator[tuple[str, bytes]]:
    digest = result.digest
    assert digest is not None
    if job.tile_map is None:
        names = {reading.name for reading in job.spec.readings}
        pairs = zip(digest.regions, digest.region_readings, strict=True)
        regions = [region for region, name in pairs if name in names]
        yield f"{job.part}.svg", layers.outlines_svg(regions, digest.colours, size, zones, letters=letters)
        return
    yield f"{job.part}.png", layers.map_png(job.tile_map, _bright(job))
    if job.kind == "arrows":
        yield f"{job.part}.svg", layers.arrows_svg(job.tile_map, size)


def _bright(job: Job) -> Bright:
    assert job.tile_map is not None
    return "low" if job.spec.reading(job.tile_map.name).worse == "low" else "high"


def _sentence(text: str) -> str:
    """Return text with a capital, unless it begins with a symbol: σ and Σ are two."""
    return text[:1].upper() + text[1:] if text[:1].isascii() else text


def _called(job: Job) -> str:
    return job.spec.name if job.tile_map is None else job.spec.reading(job.tile_map.name).spoken_name


def _zones(zones: Sequence[Zone], size: Size, put: Put, letters: float) -> tuple[str, ...]:
    """Write the zones; frames of the same shape and sheet share the file."""
    if not zones:
        return ()
    data = layers.zones_svg(zones, size, letters=letters)
    return (_keep(put, f"zones.{hashlib.blake2b(data, digest_size=10).hexdigest()}.svg", data),)


def _keep(put: Put, name: str, data: bytes) -> str:
    put(f"{PICTURES}/{name}", data)
    return f"{PICTURES}/{quote(name)}"
