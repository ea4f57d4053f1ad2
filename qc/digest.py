"""`Digest`: one small upright picture with tile maps; all of a capture that leaves the worker besides numbers."""

from __future__ import annotations

import io
import json
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from qc._preview import LONG_SIDE, preview_of
from qc.errors import UsageError
from qc.orientation import angle_to_upright, upright
from qc.reading import Measured, Region, TileMap, Unit

if TYPE_CHECKING:
    from qc.frame import Frame

Scalar = TypeVar("Scalar", bound=np.generic)

VERSION = 1
"""Version of the stored form."""

STORED_LIMIT = 1_000_000
"""Most bytes of the stored form; the preview is compressed harder until it fits."""

_MAGIC = b"qc.digest/"
_CHECK = 4
_QUALITIES = (90, 75, 55, 35, 15)
_MOST_CORNERS = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Digest:
    """What drawings and later folds need, upright, under 1 MB when stored.

    Attributes
    ----------
    preview : ndarray of uint8, shape (rows, columns)
        Grey, upright, sRGB-like tone for looking at only.
    colours : str
        One letter a plane of `tile_means`.
    tile_means : ndarray of float32, shape (colours, rows, columns)
        Mean light of each tile, upright.
    maps : tuple of TileMap
        Upright.
    regions : tuple of Region
        With outlines, simplified within a preview pixel.
    region_readings : tuple of str
        For each region, the first reading of the measurement that found it: the way back to its `Spec`.
    full_size : (int, int)
        Width and height of the upright capture, pixels.
    lift : int
        Stops that the preview's shadows were lifted by.
    """

    preview: NDArray[np.uint8]
    colours: str
    tile_means: NDArray[np.float32]
    maps: tuple[TileMap, ...] = ()
    regions: tuple[Region, ...] = ()
    region_readings: tuple[str, ...] = ()
    full_size: tuple[int, int]
    lift: int = 0

    def to_bytes(self) -> bytes:
        """Return the stored form: version, checksum, and an npz archive without pickles.

        The preview is stored as JPEG and so comes back nearly, not exactly, the same. Maps are stored in half
        precision where that keeps every value within 1 part in 2,048, else in single precision.

        Returns
        -------
        bytes
            Fewer than `STORED_LIMIT`.
        """
        arrays, header = _arrays_of(self)
        for quality in _QUALITIES:
            stored = _pack(header, arrays | {"preview": _jpeg(self.preview, quality)})
            if len(stored) < STORED_LIMIT:
                break
        return stored

    @classmethod
    def from_bytes(cls, stored: bytes) -> Digest:
        """Read what `to_bytes` wrote.

        Raises
        ------
        UsageError
            When it is not a digest, is damaged, or has a version that this framegauge does not know.
        """
        mark, _, rest = stored.partition(b"\n")
        version = mark.removeprefix(_MAGIC)
        if mark == version or not version.isdigit():
            raise UsageError("not a digest")
        if int(version) != VERSION:
            raise UsageError(f"digest of version {int(version)}: only version {VERSION} can be read here")
        archive = rest[_CHECK:]
        if zlib.crc32(archive).to_bytes(_CHECK) != rest[:_CHECK]:
            raise UsageError("damaged digest: it is not as it was written")
        try:
            with np.load(io.BytesIO(archive), allow_pickle=False) as members:
                return _digest_of(dict(members))
        except (ValueError, KeyError, TypeError, OSError, zipfile.BadZipFile) as error:
            raise UsageError(f"damaged digest: {error}") from error


def make_digest(frame: Frame, measured: Sequence[Measured], *, light: NDArray[np.float32] | None = None) -> Digest:
    """Make the digest of a measured frame.

    Parameters
    ----------
    frame : Frame
        The capture.
    measured : sequence of Measured
        What the measurements returned, in any order.
    light : ndarray of float32 or None
        What `tile_light` returned for the frame, where the caller has it.

    Returns
    -------
    Digest
    """
    preview, lift = preview_of(frame)
    regions = [(region, m.readings[0].name if m.readings else "") for m in measured for region in m.regions]
    return Digest(
        preview=preview,
        colours=frame.colours,
        tile_means=tile_light(frame) if light is None else light,
        maps=tuple(_upright_map(tile_map, frame.orientation) for m in measured for tile_map in m.maps),
        regions=_simplified([region for region, _ in regions], preview.shape),
        region_readings=tuple(name for _, name in regions),
        full_size=frame.upright_size,
        lift=lift,
    )


def tile_light(frame: Frame) -> NDArray[np.float32]:
    """Return the mean light of each tile, upright, shape (colours, rows, columns); NaN without a cell."""
    from qc.measure._tiles import grid, tile_means

    if frame.cells.size == 0:
        return np.full((len(frame.colours), 1, 1), np.nan, dtype=np.float32)
    tiles = grid(frame.cells.shape[1:])
    return np.stack([upright(tile_means(plane, tiles), frame.orientation) for plane in frame.cells])


def _upright_map(tile_map: TileMap, orientation: int) -> TileMap:
    angles = tile_map.angles
    if angles is not None:
        start = angle_to_upright(0.0, orientation)
        sense = 1.0 if np.isclose((angle_to_upright(45.0, orientation) - start) % 180.0, 45.0) else -1.0
        turned = ((start + sense * angles) % 180.0).astype(np.float32)
        angles = np.ascontiguousarray(upright(turned, orientation))
    values = np.ascontiguousarray(upright(tile_map.values, orientation))
    return replace(tile_map, values=values, angles=angles)


def _simplified(regions: Sequence[Region], shape: tuple[int, ...]) -> tuple[Region, ...]:
    """Drop corners that a preview cannot show; more of them until all outlines together fit."""
    import cv2

    size = np.array((shape[1], shape[0]), dtype=np.float32)
    outlines = [np.array(region.outline, dtype=np.float32).reshape(-1, 2) * size for region in regions]
    tolerance = 0.8
    while True:
        short = [cv2.approxPolyDP(o, tolerance, True).reshape(-1, 2) if len(o) > 3 else o for o in outlines]
        if sum(map(len, short)) <= _MOST_CORNERS or tolerance > LONG_SIDE:
            break
        tolerance *= 2
    return tuple(replace(region, outline=_pairs(o / size)) for region, o in zip(regions, short, strict=True))


def _pairs(points: NDArray[np.floating[Any]]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in points)


def _arrays_of(digest: Digest) -> tuple[dict[str, NDArray[Any]], dict[str, object]]:
    points = [np.array(region.outline, dtype=np.float32).reshape(-1, 2) for region in digest.regions]
    arrays: dict[str, NDArray[Any]] = {
        "tile_means": digest.tile_means,
        "outlines": np.concatenate([np.zeros((0, 2), dtype=np.float32), *points]),
    }
    for number, tile_map in enumerate(digest.maps):
        arrays[f"values{number}"] = _narrow(tile_map.values)
        if tile_map.angles is not None:
            arrays[f"angles{number}"] = _narrow(tile_map.angles)
    header: dict[str, object] = {
        "colours": digest.colours,
        "full_size": digest.full_size,
        "lift": digest.lift,
        "region_readings": digest.region_readings,
        "regions": [asdict(replace(region, outline=())) for region in digest.regions],
        "corners": [len(p) for p in points],
        "maps": [
            {key: getattr(m, key) for key in ("name", "unit", "drawing", "low", "high")} for m in digest.maps
        ],
    }
    return arrays, header


def _digest_of(members: Mapping[str, NDArray[Any]]) -> Digest:
    import imageio.v3 as iio

    header = json.loads(members["header"].tobytes())
    maps = [
        TileMap(
            **facts | {"unit": Unit(facts["unit"])},
            values=members[f"values{number}"].astype(np.float32),
            angles=members[f"angles{number}"].astype(np.float32) if f"angles{number}" in members else None,
        )
        for number, facts in enumerate(header["maps"])
    ]
    outlines = np.split(members["outlines"], np.cumsum(header["corners"])[:-1]) if header["corners"] else []
    return Digest(
        preview=iio.imread(members["preview"].tobytes(), extension=".jpeg"),
        colours=header["colours"],
        tile_means=members["tile_means"],
        maps=tuple(maps),
        regions=tuple(
            Region(**facts | {"box": tuple(facts["box"]), "outline": _pairs(outline)})
            for facts, outline in zip(header["regions"], outlines, strict=True)
        ),
        region_readings=tuple(header["region_readings"]),
        full_size=(header["full_size"][0], header["full_size"][1]),
        lift=header["lift"],
    )


def _narrow(values: NDArray[np.float32]) -> NDArray[np.float16] | NDArray[np.float32]:
    with np.errstate(over="ignore"):
        half = values.astype(np.float16)
    same = np.allclose(half.astype(np.float32), values, rtol=2.0**-11, atol=0.0, equal_nan=True)
    return half if same else values


def _jpeg(preview: NDArray[np.uint8], quality: int) -> NDArray[np.uint8]:
    import imageio.v3 as iio

    return np.frombuffer(iio.imwrite("<bytes>", preview, extension=".jpeg", quality=quality), dtype=np.uint8)


def _pack(header: Mapping[str, object], arrays: Mapping[str, NDArray[Any]]) -> bytes:
    text = json.dumps(header, allow_nan=False).encode()
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, header=np.frombuffer(text, dtype=np.uint8), **arrays)
    archive = buffer.getvalue()
    return _MAGIC + str(VERSION).encode() + b"\n" + zlib.crc32(archive).to_bytes(_CHECK) + archive
