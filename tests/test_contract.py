from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, get_args

import numpy as np
import pytest

from qc.contract import from_json, json_line, to_json
from qc.event import Event
from qc.reading import Finding, Level, Unit
from qc.result import Result, State
from tests.show.results import CAMERA, FILE, lost, result

TEXT, MAYBE_TEXT, NUMBER, MAYBE_NUMBER = str, (str, type(None)), (int, float), (int, float, type(None))

FILE_KEYS = {
    "path": TEXT,
    "name": TEXT,
    "bytes": int,
    "content": MAYBE_TEXT,
    "state": TEXT,
    "detail": MAYBE_TEXT,
    "companions": [TEXT],
    "sha256": MAYBE_TEXT,
}
CAMERA_KEYS = {
    "make": MAYBE_TEXT,
    "model": MAYBE_TEXT,
    "serial": MAYBE_TEXT,
    "lens": MAYBE_TEXT,
    "iso": MAYBE_NUMBER,
    "shutter_s": MAYBE_NUMBER,
    "aperture": MAYBE_NUMBER,
    "focal_mm": MAYBE_NUMBER,
    "focus_m": MAYBE_NUMBER,
    "taken": MAYBE_TEXT,
    "kind": MAYBE_TEXT,
    "width": MAYBE_NUMBER,
    "height": MAYBE_NUMBER,
}
CONTRACT: dict[str, Any] = {
    "schema": TEXT,
    "file": FILE_KEYS,
    "camera": CAMERA_KEYS,
    "readings": [
        {
            "name": TEXT,
            "zone": MAYBE_TEXT,
            "value": MAYBE_NUMBER,
            "unit": TEXT,
            "plus_minus": MAYBE_NUMBER,
            "reason": MAYBE_TEXT,
            "bound": MAYBE_TEXT,
            "doubt": MAYBE_TEXT,
        }
    ],
    "findings": [{"code": TEXT, "zone": MAYBE_TEXT, "text": TEXT, "data": dict}],
    "regions": [
        {
            "what": TEXT,
            "box": [NUMBER],
            "area": NUMBER,
            "colours": TEXT,
            "zone": MAYBE_TEXT,
            "edge": MAYBE_NUMBER,
        }
    ],
    "verdict": {
        "level": TEXT,
        "reasons": [
            {
                "reading": TEXT,
                "zone": MAYBE_TEXT,
                "level": TEXT,
                "limit": MAYBE_NUMBER,
                "text": TEXT,
                "origin": TEXT,
            }
        ],
    },
    "sheet": {"name": MAYBE_TEXT, "digest": MAYBE_TEXT},
    "made_by": {"tool": TEXT, "decoder": MAYBE_TEXT, "methods": dict},
    "measured_at": TEXT,
    "replaces": MAYBE_TEXT,
}
"""Every key of the contract and the types it may hold, in its order."""

AMBIENT = result(schema="qc.ambient/1", dark=((FILE, CAMERA),), lit=((FILE, CAMERA), (FILE, CAMERA)))


def mismatches(value: object, shape: object, where: str = "") -> list[str]:
    if isinstance(shape, Mapping):
        assert isinstance(value, dict), where
        found = [] if list(value) == list(shape) else [f"{where}: keys {list(value)}"]
        return found + [m for key in shape for m in mismatches(value[key], shape[key], f"{where}.{key}")]
    if isinstance(shape, list):
        assert isinstance(value, list), where
        return [m for inner in value for m in mismatches(inner, shape[0], f"{where}[]")]
    assert isinstance(shape, (type, tuple))
    return [] if isinstance(value, shape) and not isinstance(value, bool) else [f"{where}: {value!r}"]


@pytest.mark.parametrize("made", [result(), result(None), lost()], ids=["judged", "unjudged", "lost"])
def test_a_capture_follows_the_contract_to_the_letter(made: Result) -> None:
    document = json.loads(json_line(made))
    assert mismatches(document, CONTRACT) == []
    assert document["schema"] == "qc.capture/1"
    assert document["file"]["state"] in get_args(State)
    assert document["verdict"]["level"] in list(Level)
    assert {reading["unit"] for reading in document["readings"]} <= set(Unit)


def test_an_ambient_test_has_the_same_keys_and_its_dark_and_lit_frames() -> None:
    document = json.loads(json_line(AMBIENT))
    pair = [{"file": FILE_KEYS, "camera": CAMERA_KEYS}]
    assert document["schema"] == "qc.ambient/1"
    assert mismatches(document.pop("dark"), pair) == []
    assert mismatches(document.pop("lit"), pair) == []
    assert mismatches(document, CONTRACT) == []


def test_an_ambient_test_without_a_readable_frame_is_still_one() -> None:
    document = to_json(result(schema="qc.ambient/1"))
    assert (document["schema"], document["dark"], document["lit"]) == ("qc.ambient/1", [], [])


def test_values_reasons_bounds_and_boxes_come_through() -> None:
    document = to_json(result())
    frame, label, fact, neck, under = document["readings"]
    assert (frame["value"], frame["plus_minus"], frame["zone"]) == (0.42, 0.01, None)
    assert (label["zone"], label["unit"]) == ("label", "% of cells")
    assert fact["doubt"] == "no_noise_model: the noise is not known"
    assert (neck["value"], neck["reason"]) == (None, "texture: texture: blur cannot be read")
    assert under["bound"] == "at least"
    assert document["regions"][0]["box"] == [0.1, 0.2, 0.05, 0.04]
    assert document["findings"][1] == {
        "code": "glint",
        "zone": "label",
        "text": "a glint",
        "data": {"count": 3, "places": [1, 2]},
    }
    assert document["verdict"]["reasons"][0] == {
        "reading": "burnt.area",
        "zone": "label",
        "level": "halt",
        "limit": 0.2,
        "text": "label burnt 0.31 %",
        "origin": "preset series",
    }


def test_it_is_one_line_that_any_json_reader_takes() -> None:
    line = json_line(lost(name="line\\nbreak.dng"))
    assert "\n" not in line
    assert json.loads(line)["file"]["name"] == "line\\nbreak.dng"


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (np.float32(0.5), 0.5),
        (np.float64(0.25), 0.25),
        (np.int64(5), 5),
        (np.bool_(True), True),
        (np.arange(3), [0, 1, 2]),
        (Level.WARN, "warn"),
        ((1, (2.0, None)), [1, [2.0, None]]),
        ({"a": {"b": np.uint8(1)}}, {"a": {"b": 1}}),
    ],
)
def test_numpy_and_tuples_become_plain_json_in_one_place(value: object, written: object) -> None:
    document = to_json(result(findings=(Finding(code="glint", text="", data={"x": value}),)))
    assert document["findings"][0]["data"] == {"x": written}
    assert type(document["findings"][0]["data"]["x"]) is type(written)


@pytest.mark.parametrize(
    ("value", "error"),
    [
        (math.nan, ValueError),
        (np.float32("inf"), ValueError),
        (b"raw", TypeError),
        ({1: 2}, TypeError),
        (set(), TypeError),
    ],
)
def test_what_has_no_form_in_json_is_refused_loudly(value: object, error: type[Exception]) -> None:
    with pytest.raises(error):
        to_json(result(findings=(Finding(code="glint", text="", data={"x": value}),)))


@pytest.mark.parametrize("said", [result(), result(None), lost("truncated", "it ends early")])
def test_what_was_written_can_be_read_back(said: Result) -> None:
    written = json.loads(json_line(said))
    read = from_json(written)
    assert to_json(read) == written
    assert read.verdict == said.verdict
    assert read.readings == said.readings


def test_another_schema_is_refused() -> None:
    with pytest.raises(ValueError, match=r"qc\.event/1"):
        from_json({"schema": "qc.event/1"})


def test_a_name_that_is_not_utf8_comes_back_as_its_bytes() -> None:
    name = os.fsdecode(b"caf\xe9.dng")
    line = json_line(result(file=replace(FILE, name=name)))
    assert line.encode("utf-8")  # a line that any file takes
    assert os.fsencode(from_json(json.loads(line)).file.name) == b"caf\xe9.dng"


def test_an_event_has_its_keys_and_a_known_kind() -> None:
    event = Event(kind="folder_lost", at="2026-11-25T10:00:00.000+01:00", text="the folder is gone")
    assert json.loads(json_line(event)) == {
        "schema": "qc.event/1",
        "kind": "folder_lost",
        "at": "2026-11-25T10:00:00.000+01:00",
        "text": "the folder is gone",
        "name": None,
        "content": None,
        "level": None,
        "data": {},
    }
    with pytest.raises(ValueError, match="no kind of event"):
        Event(kind="hiccup", at="2026-11-25T10:00:00.000+01:00", text="")
