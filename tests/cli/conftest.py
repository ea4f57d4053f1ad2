"""Frames on disk and a runner for the commands."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from qc.decode import BAYER
from qc.frame import Camera
from qc.rehearse.dng import write_dng
from qc.rehearse.sensor import Sensor

ROOT = Path(__file__).resolve().parents[2]
if str(ROOT / "cli") not in sys.path:
    sys.path.append(str(ROOT / "cli"))  # where the source tree is tested without being installed

CAMERA = Camera(make="Own", model="Body", iso=100, shutter_s=1 / 125, aperture=11.0, taken="2026-11-25T10:00:00")

SHEET = """\
[set]
name = "Stoneware bottles"
preset = "series"
[[zone]]
name = "label"
role = "protect"
box = [0.5, 0.5, 0.4, 0.4]
"""

Run = Callable[..., Result]


@pytest.fixture
def run() -> Run:
    from qc_cli.app import app

    def call(*words: object) -> Result:
        return CliRunner().invoke(app, [str(word) for word in words])

    return call


def environment(**more: str) -> dict[str, str]:
    """Return an environment in which the source tree is found."""
    return os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "cli")])} | more


def subprocess_of(*words: str | bytes, env: dict[str, str] | None = None) -> subprocess.Popen[bytes]:
    """Start the command as a user does, in a process of its own."""
    command = [sys.executable, "-m", "qc_cli.app", *words]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, stdout=pipe, stderr=pipe, env=environment(**(env or {})))


def scene(level: float = 0.3, *, burnt: bool = False) -> np.ndarray:
    light = np.full((3, 120, 180), level) * np.linspace(0.5, 1.5, 180)
    if burnt:
        light[:, 72:84, 108:126] = 3.0
    return light


def write(path: Path, light: np.ndarray, camera: Camera = CAMERA) -> Path:
    sensor = Sensor()
    mosaic = sensor.expose(light, BAYER["RGGB"], np.random.default_rng(1))
    return write_dng(path, mosaic, black=sensor.black, white=int(sensor.white), camera=camera)


@pytest.fixture(scope="session")
def frames(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a good frame, a burnt one, and a pair for the ambient test; nothing may be written there."""
    folder = tmp_path_factory.mktemp("frames") / "bottles"
    folder.mkdir()
    write(folder / "good.dng", scene())
    write(folder / "burnt.dng", scene(burnt=True))
    write(folder / "lit.dng", scene() + scene() / 64)
    write(folder / "dark.dng", scene() / 64)
    return folder


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "bottles.set.toml"
    path.write_text(SHEET)
    return path
