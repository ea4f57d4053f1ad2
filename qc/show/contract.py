"""The JSON contract: ``qc.capture/1`` and ``qc.ambient/1``.

Keys are only ever added within ``/1``; a key that would change its meaning makes it ``/2``. Added so far to
what was first agreed: `bound` and `doubt` in readings, `edge` in regions, `origin` in the reasons of a verdict.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Any

import numpy as np

from qc.reading import Finding, Reading, Reason, Region
from qc.result import CameraFacts, Cause, FileFacts, Result

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
        "verdict": {
            "level": result.verdict.level,
            "reasons": [_cause(cause) for cause in result.verdict.causes],
        },
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


def json_line(result: Result) -> str:
    """Return a result as one line of JSON, without a line break at its end."""
    return json.dumps(to_json(result), ensure_ascii=False, allow_nan=False)


def _file(facts: FileFacts) -> Json:
    return {
        "path": facts.path,
        "name": facts.name,
        "bytes": facts.bytes,
        "content": facts.content,
        "state": facts.state,
        "detail": facts.detail,
        "companions": list(facts.companions),
    }


def _camera(facts: CameraFacts) -> Json:
    settings = facts.settings
    return {
        "make": settings.make,
        "model": settings.model,
        "lens": settings.lens,
        "iso": settings.iso,
        "shutter_s": settings.shutter_s,
        "aperture": settings.aperture,
        "focal_mm": settings.focal_mm,
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
