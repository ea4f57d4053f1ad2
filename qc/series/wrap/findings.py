"""Codes of what a whole day shows, what each means, and how such a finding is made."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from qc.day import DayFinding
from qc.reading import Level

NAME_REPLACED = "name_replaced"
NUMBERS_MISSING = "numbers_missing"
CLOCK_BACKWARDS = "clock_backwards"
CONTENT_AGAIN = "content_again"
STILL_NEEDED = "still_needed"
DARK_WITHOUT_LIT = "dark_without_lit"
SHEET_UNREAD = "sheet_unread"
NUMBERS_EXPLAINED = "numbers_explained"
NUMBERS_SPARSE = "numbers_sparse"
COUNTER_RESTARTED = "counter_restarted"
NAME_TWICE = "name_twice"
CONTENT_COPIED = "content_copied"
SIZE_UNUSUAL = "size_unusual"
NO_TIME = "no_time"

FINDINGS: Mapping[str, str] = {
    NAME_REPLACED: "a name was written a second time with another picture, and no file holds the first any more",
    NUMBERS_MISSING: "numbers of a camera's counter for which no capture came and no event says why. Over the "
    "rollover from 9999 to 0001 the counter goes on; names without a counter of 3 to 5 digits make no claim",
    CLOCK_BACKWARDS: "a frame with the next number has an earlier time: the camera's clock was set back, or the "
    "files were not delivered as they were shot. Frames are compared in the order of their times",
    CONTENT_AGAIN: "one picture came under two numbers of a counter: the picture that belongs to one of them may "
    "never have come",
    STILL_NEEDED: "the set sheet says that the set needs this before it is struck, and it is not there",
    DARK_WITHOUT_LIT: "a frame was declared to be shot without flash and no lit frame has its settings, so there "
    "is no ambient test of it",
    SHEET_UNREAD: "the text of the set sheet that the log kept cannot be read as a sheet any more",
    NUMBERS_EXPLAINED: "numbers of a camera's counter without a capture, and the log knows why",
    NUMBERS_SPARSE: "from most of the numbers to the next some are missing: a selection of frames, or numbers "
    "that do not count frames. None of them is called missing",
    COUNTER_RESTARTED: "a camera's counter jumps by more than 200, or goes back: taken as a restart or another "
    "card, and no number between is called missing",
    NAME_TWICE: "files of one name in two folders hold two captures: copied into one folder, one would replace "
    "the other",
    CONTENT_COPIED: "the same content lies in the folder under several paths; it was measured once",
    SIZE_UNUSUAL: "a file is far smaller or larger than those of the same camera, kind and picture size. What is "
    "in the picture changes the size of a compressed file too, so it is a note at most",
    NO_TIME: "the camera recorded no time: such frames stand where they arrived",
}
"""Findings about a day, by code; of one level those that come first here are told first."""


def finding(code: str, level: Level, text: str, contents: Iterable[str] = (), **data: object) -> DayFinding:
    """Return one finding about a day."""
    if code not in FINDINGS:
        raise ValueError(f"no finding about a day is called {code!r}")
    return DayFinding(code=code, level=level, text=text, contents=tuple(contents), data=data)
