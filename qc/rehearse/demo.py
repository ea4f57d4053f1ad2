"""The demonstration: rehearse a short shoot, measure it, and lay what was measured beside what is true."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from qc.errors import UsageError, printable

if TYPE_CHECKING:
    from qc.rehearse._compare import Compare, Row
    from qc.rehearse.studio import Studio
    from qc.result import Result
    from qc.sheet.sheet import Sheet

PICTURE_SIZE = (1632, 2448)
"""Rows and columns of the demonstration's frames."""

CAPTURES, PICTURES = "captures", "pictures"
"""Folders that the demonstration makes."""

SIMULATED = "These frames are simulated, so the truth is known: no camera took them."
"""What must be said wherever the demonstration is shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """All that the demonstration says of one frame or of the ambient test.

    Attributes
    ----------
    names : tuple of str
        Files it is about.
    about : str
        What was planted.
    result : Result
        What was measured.
    rows : tuple of Row
        Measured beside true.
    pictures : tuple of Path
        Drawings that were left.
    """

    names: tuple[str, ...]
    about: str
    result: Result
    rows: tuple[Row, ...]
    pictures: tuple[Path, ...] = ()


def demonstrate(folder: Path, *, studio: Studio | None = None) -> Iterator[Section]:
    """Rehearse the shoot into a folder and measure it, one section after the other.

    Parameters
    ----------
    folder : Path
        New or empty; gets the captures with their set sheet, and the drawings.
    studio : Studio or None
        Where to rehearse; a 4-megapixel one when None.

    Yields
    ------
    Section
        As soon as it is measured.

    Raises
    ------
    UsageError
        When the folder has something in it or cannot be made.
    """
    from qc.pipeline import measure_ambient, measure_capture
    from qc.rehearse._compare import Compare
    from qc.rehearse.shoot import DARK, LIT, SHEET_NAME, shoot
    from qc.sheet.read import read_sheet

    _make_room(folder)
    pair: list[Path] = []
    for taken in shoot(studio or make_studio(), folder / CAPTURES):
        sheet = read_sheet(folder / CAPTURES / SHEET_NAME)
        if taken.take.about in (DARK, LIT):
            pair.append(taken.path)
        if taken.take.about == DARK:
            continue  # by itself it is a frame without a picture, and meant to be
        result = measure_capture(taken.path, sheet)
        compare = Compare(truth=taken.truth, result=result, zones=sheet.zones)
        yield _section((taken.path,), taken.take.about, compare, sheet, folder)
        if taken.take.about == LIT:
            ambient = measure_ambient(pair, sheet)
            compare = Compare(truth=taken.truth, result=ambient, zones=sheet.zones)
            yield _section(tuple(pair), "ambient test", compare, sheet, folder)


def make_studio() -> Studio:
    """Return the demonstration's studio.

    Its sensor has what real ones have: it saturates before its tagged white level, over a soft plateau; its tagged
    black is off, with a masked border to show it; a few photosites are hot.
    """
    from qc.rehearse.sensor import Sensor
    from qc.rehearse.studio import Studio

    sensor = Sensor(
        black=509.0,
        tagged_black=512.0,
        saturation=15236.0,
        plateau=0.005,
        margins=(0, 48, 0, 0),
        hot=12,
    )
    return Studio(size=PICTURE_SIZE, sensor=sensor)


def _make_room(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise UsageError(f"{printable(folder)}: not empty; name a new folder")
    except OSError as error:
        raise UsageError(f"{printable(folder)}: {error.strerror or error}") from error


def _section(paths: tuple[Path, ...], about: str, compare: Compare, sheet: Sheet, folder: Path) -> Section:
    from qc.show.pictures import save_pictures

    return Section(
        names=tuple(path.name for path in paths),
        about=about,
        result=compare.result,
        rows=_ROWS[about](compare),
        pictures=save_pictures(compare.result, folder / PICTURES, sheet.zones),
    )


def _approved(compare: Compare) -> tuple[Row, ...]:
    rows = (compare.clipped(), compare.clipped("label"), compare.blur("seal"), *compare.cast("grey card"))
    return (*rows, compare.black(), compare.level("clear"))


def _burnt(compare: Compare) -> tuple[Row, ...]:
    rows = (compare.clipped(), compare.clipped("label"), compare.saturation("R"), compare.saturation("G"))
    return (*rows, compare.blames("highlights.unintended_area", "label"), compare.level("halt"))


def _moved_back(compare: Compare) -> tuple[Row, ...]:
    return (compare.clipped(), compare.blur("seal"), compare.blames("sharpness.blur", "seal"))


def _missed(compare: Compare) -> tuple[Row, ...]:
    return (compare.clipped(), compare.blames("nearly_black", None))


def _lamp(compare: Compare) -> tuple[Row, ...]:
    return (compare.clipped(), compare.blur("seal"), *compare.cast("grey card"))


def _ambient(compare: Compare) -> tuple[Row, ...]:
    places = (None, "label", "grey card", "wall")
    return (*(compare.stops_under(place) for place in places), *compare.source("right", "warm"))


_ROWS: Mapping[str, Callable[[Compare], tuple[Row, ...]]] = {
    "approved": _approved,
    "spot slipped onto the label": _burnt,
    "focus moved back": _moved_back,
    "flash missed": _missed,
    "lamp left on": _lamp,
    "ambient test": _ambient,
}
