r"""The JSON contract: ``qc.capture/1``, ``qc.ambient/1`` and ``qc.event/1``, written and read.

Keys are only ever added within ``/1``; a key that would change its meaning makes it ``/2``. Added so far to
what was first agreed: `bound` and `doubt` in readings, `edge` in regions, `origin` in the reasons of a verdict,
`serial` and `focus_m` in camera, `sha256` in file; `standing` in the captures of a watch: what the day makes of
them.

File names are the operating system's. Bytes of a name that are not UTF-8 stand as lone surrogates (PEP 383), in
a line of JSON as ``\udcNN``; `os.fsencode` gives the bytes back.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import fields
from enum import Enum
from typing import Any

import numpy as np

from qc.event import Event
from qc.frame import Camera
from qc.reading import Finding, Level, Reading, Reason, Region, Unit
from qc.result import CameraFacts, Cause, FileFacts, MadeBy, Result, Verdict
from qc.series.entry import Standing

Json = dict[str, Any]


def to_json(result: Result) -> Json:
    """Return a result as plain JSON values, in the order of the contract.

    Parameters
    ----------
    result : Result
        Of `measure_capture` or `measure_ambient`.

    Returns
    -------
    dict
        Strings, numbers, booleans, None, lists and dicts only. `value` is a number or None; a reason or doubt
        is one string, ``"code: text"``; boxes are fractions of the upright picture.

    Raises
    ------
    TypeError
        When a finding's data holds something that JSON has no form for.
    ValueError
        When it holds NaN or infinity.
    """
    document: Json = {
        "schema": result.schema,
        "file": _file(result.file),
        "camera": _camera(result.camera),
    }
    if result.schema == "qc.ambient/1":
        document["dark"] = [{"file": _file(f), "camera": _camera(c)} for f, c in result.dark]
        document["lit"] = [{"file": _file(f), "camera": _camera(c)} for f, c in result.lit]
    document |= {
        "readings": [_reading(reading) for reading in result.readings],
        "findings": [_finding(finding) for finding in result.findings],
        "regions": [_region(region) for region in result.regions],
        "verdict": verdict_json(result.verdict),
        "sheet": {"name": result.sheet_name, "digest": result.sheet_digest},
        "made_by": {
            "tool": result.made_by.tool,
            "decoder": result.made_by.decoder,
            "methods": dict(result.made_by.methods),
        },
        "measured_at": result.measured_at,
        "replaces": result.replaces,
    }
    plain = _plain(document)
    assert isinstance(plain, dict)
    return plain


def event_json(event: Event) -> Json:
    """Return an event as plain JSON values: schema ``qc.event/1``."""
    plain = _plain({"schema": "qc.event/1"} | {f.name: getattr(event, f.name) for f in fields(event)})
    assert isinstance(plain, dict)
    return plain


def standing_json(standing: Standing) -> Json:
    """Return what the day makes of a capture: level, reasons, and the row of frames its first reason stands in."""
    return {
        "level": standing.level,
        "reasons": [_cause(cause) for cause in standing.causes],
        "repeats": standing.repeats,
        "first": standing.first_name or None,
    }


def json_line(said: Result | Event, standing: Standing | None = None) -> str:
    """Return a result or event as one line of JSON, without a line break at its end.

    Parameters
    ----------
    said : Result or Event
        What to write.
    standing : Standing or None
        What the day makes of a result, for its key `standing`.
    """
    document = event_json(said) if isinstance(said, Event) else to_json(said)
    if standing is not None:
        document["standing"] = standing_json(standing)
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    return _LONE.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def from_json(document: Mapping[str, Any]) -> Result:
    """Return the result that `to_json` wrote, without its digest and the outlines of its regions.

    Parameters
    ----------
    document : mapping
        Of schema ``qc.capture/1`` or ``qc.ambient/1``; keys that are not known here are passed over.

    Raises
    ------
    ValueError
        When it has another schema.
    KeyError
        When a key of the contract is missing.
    """
    schema = document["schema"]
    if schema not in ("qc.capture/1", "qc.ambient/1"):
        raise ValueError(f"{schema!r} is no result that can be read here")
    return Result(
        schema=schema,
        file=_file_of(document["file"]),
        camera=_camera_of(document["camera"]),
        readings=tuple(_reading_of(reading) for reading in document["readings"]),
        findings=tuple(
            Finding(code=f["code"], zone=f["zone"], text=f["text"], data=f["data"]) for f in document["findings"]
        ),
        regions=tuple(_region_of(region) for region in document["regions"]),
        verdict=verdict_of(document["verdict"]),
        sheet_name=document["sheet"]["name"],
        sheet_digest=document["sheet"]["digest"],
        made_by=MadeBy(**{key: document["made_by"][key] for key in ("tool", "decoder", "methods")}),
        measured_at=document["measured_at"],
        replaces=document["replaces"],
        dark=tuple((_file_of(d["file"]), _camera_of(d["camera"])) for d in document.get("dark", ())),
        lit=tuple((_file_of(d["file"]), _camera_of(d["camera"])) for d in document.get("lit", ())),
    )


def verdict_of(document: Mapping[str, Any]) -> Verdict:
    """Return the verdict that the contract's ``verdict`` holds."""
    keys = ("reading", "zone", "limit", "origin", "text")
    causes = (
        Cause(level=Level(cause["level"]), **{key: cause[key] for key in keys}) for cause in document["reasons"]
    )
    return Verdict(level=Level(document["level"]), causes=tuple(causes))


def verdict_json(verdict: Verdict) -> Json:
    """Return a verdict as the contract's ``verdict``."""
    return {"level": verdict.level, "reasons": [_cause(cause) for cause in verdict.causes]}


_LONE = re.compile("[\ud800-\udfff]")
"""Surrogates without a partner: bytes of a file name that are not UTF-8."""


def _file_of(document: Mapping[str, Any]) -> FileFacts:
    known = {f.name: document.get(f.name) for f in fields(FileFacts)}
    return FileFacts(**known | {"companions": tuple(document["companions"])})


def _camera_of(document: Mapping[str, Any]) -> CameraFacts:
    settings = Camera(**{f.name: document.get(f.name) for f in fields(Camera)})
    return CameraFacts(settings=settings, **{key: document[key] for key in ("kind", "width", "height")})


def _reading_of(document: Mapping[str, Any]) -> Reading:
    return Reading(
        name=document["name"],
        unit=Unit(document["unit"]),
        zone=document["zone"],
        value=document["value"],
        plus_minus=document["plus_minus"],
        bound=document["bound"],
        reason=_why_of(document["reason"]),
        doubt=_why_of(document["doubt"]),
    )


def _region_of(document: Mapping[str, Any]) -> Region:
    left, top, width, height = document["box"]
    keys = ("what", "area", "colours", "zone", "edge")
    return Region(box=(left, top, width, height), **{key: document[key] for key in keys})


def _why_of(text: str | None) -> Reason | None:
    if text is None:
        return None
    code, _, said = text.partition(": ")
    return Reason(code, said)


def _file(facts: FileFacts) -> Json:
    return {
        "path": facts.path,
        "name": facts.name,
        "bytes": facts.bytes,
        "content": facts.content,
        "state": facts.state,
        "detail": facts.detail,
        "companions": list(facts.companions),
        "sha256": facts.sha256,
    }


def _camera(facts: CameraFacts) -> Json:
    settings = facts.settings
    return {
        "make": settings.make,
        "model": settings.model,
        "serial": settings.serial,
        "lens": settings.lens,
        "iso": settings.iso,
        "shutter_s": settings.shutter_s,
        "aperture": settings.aperture,
        "focal_mm": settings.focal_mm,
        "focus_m": settings.focus_m,
        "taken": settings.taken,
        "kind": facts.kind,
        "width": facts.width,
        "height": facts.height,
    }


def _reading(reading: Reading) -> Json:
    return {
        "name": reading.name,
        "zone": reading.zone,
        "value": reading.value,
        "unit": reading.unit,
        "plus_minus": reading.plus_minus,
        "reason": _why(reading.reason),
        "bound": reading.bound,
        "doubt": _why(reading.doubt),
    }


def _finding(finding: Finding) -> Json:
    return {"code": finding.code, "zone": finding.zone, "text": finding.text, "data": dict(finding.data)}


def _region(region: Region) -> Json:
    return {
        "what": region.what,
        "box": list(region.box),
        "area": region.area,
        "colours": region.colours,
        "zone": region.zone,
        "edge": region.edge,
    }


def _cause(cause: Cause) -> Json:
    return {
        "reading": cause.reading,
        "zone": cause.zone,
        "level": cause.level,
        "limit": cause.limit,
        "text": cause.text,
        "origin": cause.origin,
    }


def _why(reason: Reason | None) -> str | None:
    return None if reason is None else str(reason)


def _plain(value: object) -> object:
    """Turn numpy scalars, arrays, enumerations and tuples into JSON's own types; refuse anything else."""
    if isinstance(value, Enum):
        value = value.value
    if isinstance(value, (np.generic, np.ndarray)):
        value = value.tolist()
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        if value != value or value in (float("inf"), float("-inf")):
            raise ValueError(f"{value} has no place in JSON: a number that is missing is None with a reason")
        return value
    if isinstance(value, Mapping):
        return {_key(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, (bytes, bytearray)):
        return [_plain(inner) for inner in value]
    raise TypeError(f"{type(value).__name__} has no place in JSON")


def _key(key: object) -> str:
    if not isinstance(key, str):
        raise TypeError(f"a JSON key is text, not {type(key).__name__}")
    return str(key)
