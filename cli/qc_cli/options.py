"""Options that several commands share, and how they become the library's arguments."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from qc.decode import MosaicHint
    from qc.sheet.sheet import Sheet


class Preset(StrEnum):
    """Sets of default limits."""

    LOOSE = "loose"
    SERIES = "series"
    STRICT = "strict"


class DecoderName(StrEnum):
    """Decoders that may be asked for."""

    AUTO = "auto"
    RAWPY = "rawpy"
    FLASHRAW = "flashraw"


class Pattern(StrEnum):
    """How a mosaic in an unmarked TIFF lies."""

    RGGB = "RGGB"
    BGGR = "BGGR"
    GRBG = "GRBG"
    GBRG = "GBRG"
    MONO = "mono"


def _one_of(choices: type[StrEnum], what: str) -> Callable[[str], StrEnum]:
    """Return the parser of an option that takes one of a few words."""

    def parse(text: str) -> StrEnum:
        try:
            return choices(text)
        except ValueError:
            raise typer.BadParameter(f"no {what} is called {text!r}: there are {', '.join(choices)}") from None

    return parse


def _folder(text: str) -> Path:
    if not text:
        raise typer.BadParameter("name a folder")
    return Path(text)


def _choice(choices: type[StrEnum]) -> str:
    return f"[{'|'.join(choices)}]"


SheetOption = Annotated[
    Path | None, typer.Option("--sheet", metavar="SHEET", readable=False, help="Set sheet; found when not given.")
]
PresetOption = Annotated[
    Preset | None,
    typer.Option(
        "--preset",
        parser=_one_of(Preset, "preset"),
        metavar=_choice(Preset),
        help="Default limits; goes before the sheet's preset.",
    ),
]
PicturesOption = Annotated[
    Path | None,
    typer.Option("--pictures", parser=_folder, metavar="DIR", help="Save drawings of what was found there."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="One line of JSON per result on stdout.")]
VerboseOption = Annotated[bool, typer.Option("--verbose", "-v", help="Every reading of every frame.")]
NoColorOption = Annotated[
    bool, typer.Option("--no-color", help="No colour; the environment variable NO_COLOR does the same.")
]
DebugOption = Annotated[bool, typer.Option("--debug", help="Show where an internal fault happened.")]
DecoderOption = Annotated[
    DecoderName,
    typer.Option(
        "--decoder",
        parser=_one_of(DecoderName, "decoder"),
        metavar=_choice(DecoderName),
        help="Which decoder reads raw files.",
    ),
]
MosaicOption = Annotated[
    Pattern | None,
    typer.Option(
        "--mosaic",
        parser=_one_of(Pattern, "pattern"),
        metavar=_choice(Pattern),
        help="Read unmarked one-channel TIFFs as a linear mosaic.",
    ),
]
BlackOption = Annotated[
    float | None, typer.Option("--black", help="With --mosaic: level of no light, DN; not known when not given.")
]
WhiteOption = Annotated[
    float | None,
    typer.Option("--white", help="With --mosaic: white level, DN; the largest code when not given."),
]


def mosaic_hint(pattern: Pattern | None, black: float | None, white: float | None) -> MosaicHint | None:
    """Return how unmarked mosaics are to be read, or None when they are not."""
    if pattern is None:
        if black is not None or white is not None:
            raise typer.BadParameter("--black and --white go with --mosaic")
        return None
    from qc.decode import MosaicHint
    from qc.frame import Cfa

    mono = Cfa(pattern=((0,),), colours="L")
    return MosaicHint(cfa=mono if pattern is Pattern.MONO else pattern.value, black=black, white=white)


def shutter_time(text: str | None) -> float | None:
    """Return a shutter time such as ``1/200`` in seconds."""
    if text is None:
        return None
    from qc.sheet.model import seconds

    try:
        return seconds(text)
    except ValueError as error:
        raise typer.BadParameter(f"--sync: {error}") from None


def said_of_sheet(sheet: Sheet | None, *, named: bool) -> list[str]:
    """Return what a command says once beside its results: which sheet was found, and what was accepted on it."""
    if sheet is None:
        return []
    lines = [] if named or sheet.path is None else [f"set sheet: {sheet.path}"]
    count = len(sheet.accepted)
    if count:
        lines.append(f"accepted: {count} {'exception' if count == 1 else 'exceptions'} from {sheet.accepted_from}")
    return lines


def corner_points(text: str | None) -> list[tuple[float, float]] | None:
    """Return the corners written as ``"x,y x,y x,y"``."""
    if text is None:
        return None
    try:
        pairs = [tuple(float(number) for number in pair.split(",")) for pair in text.split()]
        return [(x, y) for x, y in pairs]
    except ValueError:
        raise typer.BadParameter('--points: write corners as "0.1,0.2 0.5,0.2 0.3,0.6"') from None
