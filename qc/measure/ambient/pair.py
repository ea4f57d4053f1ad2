"""Which frames are lit and which dark, and whether they may be compared at all."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from qc.errors import UsageError
from qc.frame import Frame
from qc.reading import Finding
from qc.settings import different_body, differing, in_words, not_scalable

NEARLY_EQUAL = 1.1
"""A frame less than this factor above another is no brighter: wider than what flash heads repeat to."""

_FARTHEST = 8.0
"""Stops under the brightest frame below which levels count as equally dark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Roles of the frames of one ambient test, as indices into the sequence that was given.

    Attributes
    ----------
    lit : tuple of int
        Frames with flash; the first is the one that is measured, the others follow in the order given.
    dark : tuple of int
        Frames without flash, in the order given.
    companions : tuple of int
        What goes beside ``lit[0]`` into the measurement: the dark frames, then the further lit ones, less
        those that are no use (a dark frame that the flash lit, a lit frame that it did not).
    findings : tuple of Finding
        ``settings_differ``, ``flash_in_dark`` or ``no_flash_in_lit`` for frames left out, and ``lit_chosen``
        where there were several lit frames to choose from.
    """

    lit: tuple[int, ...]
    dark: tuple[int, ...]
    companions: tuple[int, ...]
    findings: tuple[Finding, ...] = ()


def arrange(frames: Sequence[Frame], dark: Sequence[int] = (), *, names: Sequence[str] = ()) -> Arrangement:
    """Tell lit from dark frames, in whatever order they come.

    The frames are split at the widest gap between their mean levels, in stops; with `dark` given, all others
    are lit. No tag is asked: studio flash is often recorded as "not fired". Of several lit frames the one of the
    middle level is measured, of two the darker: the choice hangs on their light and not on their order, and one
    frame in which a head missed or fired twice is not chosen.

    Parameters
    ----------
    frames : sequence of Frame
        At least two, of one body, size and kind.
    dark : sequence of int
        Indices of the dark frames where they are known.
    names : sequence of str
        What to call the frames in texts; "frame 1", "frame 2", … when left out.

    Returns
    -------
    Arrangement

    Raises
    ------
    UsageError
        For fewer than two frames, for frames that cannot be compared, for indices that name no frame,
        all, or only frames that the flash lit.
    """
    called = tuple(names) or tuple(f"frame {i + 1}" for i in range(len(frames)))
    if len(frames) < 2:
        raise UsageError("the ambient test needs two frames: one with the flash trigger on and one with it off")
    for frame, name in zip(frames[1:], called[1:], strict=True):
        check_comparable(frames[0], frame, called[0], name)
    levels = [level(frame) for frame in frames]
    dark_ones = _named_dark(dark, len(frames)) if dark else split_by_level(levels)
    lit = tuple(i for i in range(len(frames)) if i not in dark_ones)
    darks = tuple(sorted(dark_ones))
    useless, findings = _useless(lit, darks, levels, called)
    if dark and len(frames) > 2 and (set(darks) <= useless or _none_brighter(lit, darks, levels)):
        wrong = ", ".join(called[i] for i in darks)
        raise UsageError(f"{wrong}: named as dark and as bright as a lit frame; name the frame without flash")
    choice = _choice(frames, tuple(i for i in lit if i not in useless) or lit, darks, levels)
    lit = (_middle(choice), *(i for i in lit if i != _middle(choice)))
    findings += tuple(_chosen(choice, called))
    findings += tuple(_settings_findings(frames, lit, darks, called))
    companions = tuple(i for i in (*darks, *lit[1:]) if i not in useless)
    return Arrangement(lit=lit, dark=darks, companions=companions, findings=findings)


def _choice(
    frames: Sequence[Frame], lit: tuple[int, ...], dark: tuple[int, ...], levels: Sequence[float]
) -> list[int]:
    """Return the lit frames that some dark frame may be held against, by level; all of them if there is none."""
    fit = [i for i in lit if any(not not_scalable(frames[i].camera, frames[d].camera) for d in dark)]
    return sorted(fit or lit, key=lambda i: (levels[i], frames[i].camera.taken or "", i))


def _middle(choice: list[int]) -> int:
    return choice[(len(choice) - 1) // 2]


def _chosen(choice: list[int], called: Sequence[str]) -> Iterator[Finding]:
    if len(choice) < 2:
        return
    which = "the darker of two" if len(choice) == 2 else f"the middle one of {len(choice)}"
    text = f"{called[_middle(choice)]}, {which} lit frames, is measured"
    yield Finding(code="lit_chosen", text=text, data={"frame": _middle(choice), "lit_frames": len(choice)})


def check_comparable(a: Frame, b: Frame, name_a: str = "one frame", name_b: str = "another") -> None:
    """Raise UsageError naming why two frames cannot be compared pixel by pixel."""
    both = f"{name_a} and {name_b} cannot be compared"
    if a.kind != b.kind:
        raise UsageError(f"{both}: one is a {a.kind} file, the other a {b.kind} file")
    if (bodies := different_body(a.camera, b.camera)) is not None:
        word, ours, theirs = bodies
        raise UsageError(f"{both}: different camera bodies ({word} {ours} and {theirs})")
    if (a.height, a.width) != (b.height, b.width):
        raise UsageError(f"{both}: {a.width} × {a.height} and {b.width} × {b.height} pixels")
    if a.orientation != b.orientation:
        raise UsageError(f"{both}: the camera was turned between them; shoot both again without touching it")
    if a.cfa != b.cfa or a.colours != b.colours:
        raise UsageError(f"{both}: their colour filter mosaics differ")


def level(frame: Frame) -> float:
    """Return the mean light of a frame, all colours alike; only for ordering frames."""
    return float(np.mean(frame.cells[:, ::4, ::4])) if frame.cells.size else 0.0


def split_by_level(levels: Sequence[float]) -> set[int]:
    """Return the indices of the dark frames: those below the widest gap between levels, in stops."""
    floor = max(max(levels), 1e-6) * 2.0**-_FARTHEST
    stops = np.log2(np.maximum(levels, floor))
    order = np.argsort(stops, kind="stable")
    widest = int(np.argmax(np.diff(stops[order])))
    return {int(i) for i in order[: widest + 1]}


def _named_dark(dark: Sequence[int], count: int) -> set[int]:
    named = set(dark)
    if not named <= set(range(count)):
        raise UsageError("a dark frame was named that is not among the frames")
    if len(named) == count:
        raise UsageError("every frame was named as dark: one with the flash trigger on is needed")
    return named


def _none_brighter(lit: tuple[int, ...], dark: tuple[int, ...], levels: Sequence[float]) -> bool:
    """Tell whether no lit frame stands clear of the darkest dark one."""
    top, bottom = max(levels[i] for i in lit), min(levels[i] for i in dark)
    return top < NEARLY_EQUAL * max(bottom, 1e-9)


def _useless(
    lit: tuple[int, ...], dark: tuple[int, ...], levels: Sequence[float], called: Sequence[str]
) -> tuple[set[int], tuple[Finding, ...]]:
    """Return the frames that contradict their role, as long as one of that role remains, and why."""
    if _none_brighter(lit, dark, levels):
        return set(), ()
    top, bottom = max(levels[i] for i in lit), min(levels[i] for i in dark)
    middle = math.sqrt(top * max(bottom, top * 2.0**-_FARTHEST))
    fired = [i for i in dark if levels[i] > max(middle, top / NEARLY_EQUAL)]
    missed = [i for i in lit if levels[i] < min(middle, NEARLY_EQUAL * max(bottom, 0.0))]
    findings = [
        Finding(
            code="flash_in_dark",
            text=f"{called[i]} was named as dark and is as bright as the lit frame: the flash fired; left out",
            data={"frame": i},
        )
        for i in fired
    ]
    findings += [
        Finding(
            code="no_flash_in_lit",
            text=f"{called[i]} is no brighter than the dark frame: the flash did not fire; left out",
            data={"frame": i},
        )
        for i in missed
    ]
    return {*fired, *missed}, tuple(findings)


def _settings_findings(
    frames: Sequence[Frame], lit: tuple[int, ...], dark: tuple[int, ...], called: Sequence[str]
) -> list[Finding]:
    findings = []
    first = lit[0]
    for i in (*dark, *lit[1:]):
        settings = differing(frames[first].camera, frames[i].camera)
        if settings:
            findings.append(
                Finding(
                    code="settings_differ",
                    text=f"settings differ between {called[first]} and {called[i]}: {in_words(settings)}",
                    data={"frame": i, "settings": {field: list(pair) for field, pair in settings.items()}},
                )
            )
    return findings
