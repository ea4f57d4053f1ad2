"""The public names: one list, complete, and free of charge until used."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import qc

SOURCE = Path(qc.__file__)


def imported_for_type_checkers() -> dict[str, str]:
    (block,) = [node for node in ast.parse(SOURCE.read_text()).body if isinstance(node, ast.If)]
    imports = [node for node in block.body if isinstance(node, ast.ImportFrom)]
    return {alias.name: str(node.module) for node in imports for alias in node.names}


def test_what_type_checkers_see_is_what_is_exported() -> None:
    assert imported_for_type_checkers() == qc._PLACE_OF
    assert sorted(qc._PLACE_OF) == list(qc.__all__)


@pytest.mark.parametrize("name", qc.__all__)
def test_every_public_name_resolves(name: str) -> None:
    assert getattr(qc, name) is not None
    assert name in dir(qc)


def test_a_name_that_is_not_public_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nothing_like_it'"):
        _ = qc.nothing_like_it


def test_every_error_is_public() -> None:
    from qc import errors

    named = {n for n, v in vars(errors).items() if isinstance(v, type) and issubclass(v, errors.QcError)}
    assert named <= set(qc.__all__)


def test_importing_the_package_imports_nothing_heavy() -> None:
    code = (
        "import qc, sys; print(sorted(m for m in ('numpy', 'rawpy', 'cv2', 'colour', 'rich') if m in sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=SOURCE.parents[1]
    )
    assert done.stdout.strip() == "[]"
