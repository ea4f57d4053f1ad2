"""What every test may use: the real captures, where they are, and simulated frames."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.browsing import browser as browser  # here, so that a whole run has one

# no test is about how long something takes; a run says of a commit what the next run says of it
settings.register_profile("same", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, print_blob=True)
settings.load_profile("same")

PLACES = (
    os.environ.get("QC_CAPTURES", ""),
    str(Path(__file__).resolve().parents[2] / "shared" / "captures"),
)


@pytest.fixture(scope="session")
def captures() -> Path:
    """The folder of real captures; tests that need it skip with the reason where it is absent."""
    for place in PLACES:
        if place and (Path(place) / "MANIFEST.csv").is_file():
            return Path(place)
    pytest.skip("real captures are neither in $QC_CAPTURES nor in ../shared/captures")


@pytest.fixture(autouse=True, scope="session")
def _own_state(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Let no watch of a test note itself among those of this machine's user."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        yield
