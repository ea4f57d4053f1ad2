"""Stand-ins that decoders give for "not recorded" become None (TRAPS D50 to D52)."""

from __future__ import annotations

from datetime import datetime

import pytest

from qc.decode.settings import filled, iso, positive, taken, words
from qc.frame import Camera


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf"), None])
def test_zero_and_what_is_no_number_is_not_recorded(value: float | None) -> None:
    assert positive(value) is None


def test_a_setting_that_was_recorded_is_kept() -> None:
    assert positive(0.00625) == 0.00625
    assert iso(100) == 100.0
    assert words("  90 mm ") == "90 mm"


@pytest.mark.parametrize("value", [0, 65535, None])
def test_a_saturated_or_absent_iso_is_not_recorded(value: float | None) -> None:
    assert iso(value) is None


def test_blank_words_are_not_recorded() -> None:
    assert words("  ") is None
    assert words(None) is None


@pytest.mark.parametrize("value", [datetime(1970, 1, 1), datetime(1970, 1, 1, 5), "0000:00:00", "", None])
def test_the_epoch_is_no_time(value: datetime | str | None) -> None:
    assert taken(value) is None


def test_times_are_local_text_with_their_fraction() -> None:
    assert taken(datetime(2026, 11, 25, 10, 0, 0, 120_000)) == "2026-11-25T10:00:00.120"
    assert taken("2026-11-25T10:00:00") == "2026-11-25T10:00:00"


def test_the_file_goes_before_the_decoder() -> None:
    both = filled(Camera(iso=100.0), Camera(iso=200.0, make="Kiln Works"))
    assert both == Camera(iso=100.0, make="Kiln Works")
