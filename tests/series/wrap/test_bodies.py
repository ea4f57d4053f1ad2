"""Captures of one body have one name for it."""

from __future__ import annotations

import pytest

from qc.frame import Camera
from qc.series.wrap.bodies import bodies_of
from tests.series.wrap.days import day, logged


def bodies(*settings: Camera) -> list[str]:
    one = day([logged(number, settings=given) for number, given in enumerate(settings)])
    return [bodies_of(one)[taken.entry.content] for taken in one.captures]


@pytest.mark.parametrize(
    ("settings", "body"),
    [
        (Camera(make="Own", model="Studio", serial="7"), "Own Studio 7"),
        (Camera(make="Own", model="OWN Studio", serial="7"), "OWN Studio 7"),
        (Camera(make="Own", model="Studio"), "Own Studio"),
        (Camera(make="Own"), "Own"),
        (Camera(serial="7"), "7"),
        (Camera(), ""),
    ],
)
def test_a_body_is_said_by_what_is_recorded_of_it(settings: Camera, body: str) -> None:
    assert bodies(settings) == [body]


def test_without_a_serial_number_a_file_is_of_the_one_body_of_its_model_or_of_an_unknown_one() -> None:
    bare, first, second = (Camera(make="Own", model="Studio", serial=serial) for serial in (None, "7", "8"))
    assert bodies(bare, first) == ["Own Studio 7", "Own Studio 7"]
    assert bodies(bare, first, second) == ["", "Own Studio 7", "Own Studio 8"]
    assert bodies(Camera(make="Own", model="Other"), first) == ["Own Other", "Own Studio 7"]
