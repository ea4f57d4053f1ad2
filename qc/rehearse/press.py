"""One press of the shutter on the rehearsed set, for whoever wants to try a watch without a camera.

    python -m qc.rehearse.press FOLDER                 one frame of glazed stoneware bottles
    python -m qc.rehearse.press FOLDER --trigger-off   the same without the flash: what the room adds
    python -m qc.rehearse.press FOLDER --lamp          with a lamp left on
    python -m qc.rehearse.press FOLDER --spot          with a spot that has slipped onto the label

Everything in it is invented.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from qc.errors import UsageError
from qc.rehearse.counter import file_names
from qc.rehearse.deliver import renamed
from qc.rehearse.shoot import LAMP_ROOM, LAMP_STOPS_UNDER, QUIET_ROOM
from qc.rehearse.studio import ALL_HEADS, LABEL_Z, Studio

COLUMNS = 1500
"""Width of a frame: enough for the sharpness of the label's print to be read."""

LEAST_COLUMNS = 300


def press(
    folder: Path, *, trigger: bool = True, lamp: bool = False, spot: bool = False, columns: int = COLUMNS
) -> Path:
    """Shoot one frame and put it into a folder under the next free name.

    Parameters
    ----------
    folder : Path
        It exists; no file in it is replaced.
    trigger : bool
        Whether the heads fire.
    lamp : bool
        Whether a warm lamp was left on, about five stops under the flash.
    spot : bool
        Whether a spot has slipped onto the label.
    columns : int
        Width of the frame in pixels; it is two thirds as high.

    Returns
    -------
    Path
        The frame. It comes in as from a camera: whole at once, under its final name.

    Raises
    ------
    UsageError
        When there is no such folder, or the frame would be too small.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder}: no such folder")
    if columns < LEAST_COLUMNS:
        raise UsageError(f"{columns} columns: too few, at least {LEAST_COLUMNS}")
    number, name = next(named for named in enumerate(file_names()) if not (folder / named[1]).exists())
    studio = Studio(size=(columns * 2 // 3, columns))
    shot = studio.frame(
        heads={**ALL_HEADS, **({"spot": 1.0} if spot else {})} if trigger else {},
        room=studio.room_at(LAMP_STOPS_UNDER, LAMP_ROOM) if lamp else QUIET_ROOM,
        focus=LABEL_Z,
        noise=number,
        taken=datetime.now().astimezone().isoformat(timespec="milliseconds"),
    )
    renamed(shot.encode(), folder / name)
    return folder / name


def main(arguments: Sequence[str] | None = None) -> int:
    """Shoot one frame on the rehearsed set."""
    parser = argparse.ArgumentParser(prog="python -m qc.rehearse.press", description=main.__doc__)
    parser.add_argument("folder", type=Path, help="where captures come in")
    parser.add_argument("--trigger-off", action="store_true", help="without the flash: the dark frame")
    parser.add_argument("--lamp", action="store_true", help="a lamp was left on")
    parser.add_argument("--spot", action="store_true", help="a spot has slipped onto the label")
    parser.add_argument("--columns", type=int, default=COLUMNS, help="width of the frame in pixels")
    given = parser.parse_args(arguments)
    try:
        path = press(
            given.folder,
            trigger=not given.trigger_off,
            lamp=given.lamp,
            spot=given.spot,
            columns=given.columns,
        )
    except (UsageError, OSError) as error:
        parser.error(str(error))
    sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
