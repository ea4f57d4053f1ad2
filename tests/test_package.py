"""What is built is what is meant to be installed."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    (built,) = out.glob("*.whl")
    return zipfile.ZipFile(built).namelist()


def packages(folder: Path) -> set[str]:
    return {str(p.parent.relative_to(folder.parent)) for p in folder.rglob("__init__.py")}


def test_the_wheel_holds_every_package(wheel: list[str]) -> None:
    meant = packages(ROOT / "qc") | packages(ROOT / "cli" / "qc_cli")
    assert meant <= {str(Path(name).parent) for name in wheel}


def test_the_wheel_holds_every_module_and_the_type_markers(wheel: list[str]) -> None:
    meant = {str(p.relative_to(ROOT)) for p in (ROOT / "qc").rglob("*.py")}
    meant |= {str(p.relative_to(ROOT / "cli")) for p in (ROOT / "cli").rglob("*.py")}
    assert meant | {"qc/py.typed", "qc_cli/py.typed"} <= set(wheel)


def test_the_wheel_holds_every_template(wheel: list[str]) -> None:
    meant = {
        str(p.relative_to(ROOT)) for kind in ("*.j2", "*.js", "*.css", "*.svg") for p in (ROOT / "qc").rglob(kind)
    }
    assert {"qc/show/handoff/photographer.html.j2", "qc/show/report/templates/report.js"} <= meant
    assert meant <= set(wheel)


def test_nothing_else_reaches_site_packages(wheel: list[str]) -> None:
    tops = {name.split("/")[0] for name in wheel if ".dist-info" not in name.split("/")[0]}
    assert tops == {"qc", "qc_cli"}


def test_the_top_level_is_what_the_guide_says() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode != 0:
        pytest.skip("not a git checkout: the top level cannot be told from build products")
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}
    named = {"README.md", "DEVELOPERS.md", "pyproject.toml", "qc", "cli", "tests", "testdata"}
    assert {top for top in tops if not top.startswith(".")} <= named
