"""The state of a watch as its page is told it, ready for JSON: from the board and what the view knows besides.

Names are cleaned here, so that nothing in it is a control character or no UTF-8. Words are those of the terminal.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from qc.intake.updates import Heartbeat
from qc.pages.follow.store import Held, key_of
from qc.reading import Level
from qc.result import Result
from qc.series.entry import Standing
from qc.series.order import divided
from qc.show.text import clean, figures_of, settings_line, time_of
from qc.show.watching import words
from qc.show.watching.board import Board, Told
from qc.show.watching.foremost import foremost_of
from qc.show.watching.menu import Act, question
from qc.show.watching.rows import ALARMS, Mark, Row, mark_of
from qc.show.watching.words import Said

MOST_ALARMS: Final = 12
"""Rows of alarms, and of what is open, that a state holds; further ones follow as these are answered. Our own
choice."""

FIRST_LOOK: Final = "first look"
"""Word of a frame of which only the first look is known and shows no alarm: it is not clear yet."""

NOT_YET: Final = "the picture follows"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the view knows besides the board.

    Attributes
    ----------
    page : str
        Digest of the page's files.
    folder : str
        Name of the watched folder.
    ended : bool
        Whether the watch has ended in order.
    held : Held or None
        What the frame taken last can be shown by.
    mark : bytes or None
        Where its cause is.
    offers : mapping of Mark to str or None
        What accepting would do, as far as it was asked for.
    said : sequence of Said
        What was done lately to what is judged, or to how, newest last.
    hint : sequence of str
        What to do, while nothing can be judged.
    since_beat_s : float
        Seconds since the heartbeat.
    """

    page: str = ""
    folder: str = ""
    ended: bool = False
    held: Held | None = None
    mark: bytes | None = None
    offers: Mapping[Mark, str | None] = field(default_factory=dict)
    said: Sequence[Said] = ()
    hint: Sequence[str] = ()
    since_beat_s: float = 0.0


def state_of(board: Board, known: Known) -> dict[str, Any]:
    """Return the state; `may_act` is added for each listener."""
    newest, still_open = board.newest(), board.open_beside(shown_of(board))
    return {
        "page": known.page,
        "watch": "ended" if known.ended else "on",
        "folder": clean(known.folder),
        "frame": _frame(board, known),
        "strip": [
            {"key": key_of(told.standing.content), "name": clean(told.name), "level": str(told.standing.level)}
            for told in board.last()
        ],
        "heart": _heart(board, known),
        "open": [_open(row) for row in still_open[:MOST_ALARMS]],
        "open_frames": sum(map(len, still_open)),
        "alarms": [_question(row, known) for row in board.alarms()[:MOST_ALARMS]],
        "newest": _question(newest, known) if newest is not None else None,
        "said": [{"time": said.time, "text": clean(said.reason)} for said in known.said],
        "hint": [clean(line) for line in known.hint],
    }


def shown_of(board: Board) -> str:
    """Return the content of the frame that is shown; nothing where none is."""
    if (result := board.looked_at()) is not None:
        return result.file.content or ""
    last = board.last()
    return last[-1].standing.content if last else ""


def _open(row: Row) -> dict[str, Any]:
    """Return what nobody answered, besides the frame shown: an alarm must not go when the next one is clear."""
    name, standing = row[0]
    return {
        "level": str(standing.level),
        "name": clean(words.stem(name)),
        "reason": clean(words.opening(standing.causes[0].text)) if standing.causes else "",
        "frames": len(row),
    }


def _frame(board: Board, known: Known) -> dict[str, Any] | None:
    if (result := board.looked_at()) is not None:
        return _looking(result)
    last = board.last()
    return _told(board, last[-1], known) if last else None


def _looking(result: Result) -> dict[str, Any]:
    """Return a frame of which only the first look is known: an alarm is told at once, all else is open."""
    level = result.verdict.level
    standing = Standing(content="", level=level, causes=result.verdict.causes)
    alarm = level in ALARMS
    return {
        **_name(result.file.name),
        "key": key_of(result.file.content or ""),
        "level": str(level if alarm else Level.UNJUDGED),
        "word": str(level) if alarm else FIRST_LOOK,
        **_reason(standing if alarm else None, None),
        **_known_of(standing, result),
        "time": time_of(result),
        "looking": True,
        "picture": None,
        "size": None,
        "mark": None,
        "without": NOT_YET,
    }


def _told(board: Board, told: Told, known: Known) -> dict[str, Any]:
    standing, held = told.standing, known.held
    key = key_of(standing.content)
    shown = held is not None and held.size is not None
    reason = _reason(standing, board.before(told))
    if standing.level is Level.UNJUDGED and held is not None and held.result is not None:
        reason["reason"] = reason["reason"] or next(iter(figures_of(held.result, board.specs)), "")
    return {
        **_name(told.name),
        "key": key,
        "level": str(standing.level),
        "word": str(standing.level),
        **reason,
        **_known_of(standing, held.result if held is not None else None),
        "time": "" if told.time == words.NO_TIME else told.time,
        "looking": False,
        "picture": f"/picture/{key}.jpg" if shown else None,
        "size": list(held.size) if held is not None and held.size is not None else None,
        "mark": f"/mark/{key}.svg?{_digest(known.mark)}" if shown and known.mark else None,
        "without": clean(held.without) if held is not None else "",
    }


def _name(name: str) -> dict[str, str]:
    """Return a file name and, in parts, its counter and what stands before it."""
    before, number = divided(name)
    return {"name": clean(name), "stem": clean(before if number else words.stem(name)), "number": number}


def _known_of(standing: Standing, result: Result | None) -> dict[str, Any]:
    """Return all that is known in words, for who asks for more than the one reason."""
    settings = settings_line(result) if result is not None else ""
    return {"causes": [clean(cause.text) for cause in standing.causes], "settings": settings}


def _reason(standing: Standing | None, before: Standing | None) -> dict[str, Any]:
    foremost = foremost_of(standing, before) if standing is not None else None
    if foremost is None:
        return {"reason": "", "more": 0, "again": ""}
    said = words.clause if foremost.again else words.opening
    return {"reason": clean(said(foremost.cause.text)), "more": foremost.more, "again": foremost.again}


def as_said(standing: Standing, before: Standing | None) -> Standing:
    """Return a standing with the cause first that is said of it: what is marked is what is read."""
    foremost = foremost_of(standing, before)
    if foremost is None:
        return standing
    others = (cause for cause in standing.causes if cause is not foremost.cause)
    return replace(standing, causes=(foremost.cause, *others))


def _heart(board: Board, known: Known) -> dict[str, Any]:
    beat = board.beat
    pieces = words.heartbeat(beat, board.beat_at)
    age = beat.last_age_s + known.since_beat_s if beat.last_age_s is not None else None
    return {
        "clock": board.beat_at,
        "last": clean(beat.last_name) if beat.last_name is not None else None,
        "age_s": round(age, 1) if age is not None else None,
        "pieces": [clean(piece) for piece in pieces[1:]],
        "needs": clean(words.needed(beat)),
        "troubles": list(_troubles(beat)),
    }


def _troubles(beat: Heartbeat) -> Iterator[dict[str, str]]:
    """Yield what the watch cannot do at present, and what that is about: folder, log or sheet."""
    well = Heartbeat()
    alone = {
        "folder": replace(well, folder=beat.folder),
        "log": replace(well, log=beat.log),
        "sheet": replace(well, sheet_trouble=beat.sheet_trouble),
    }
    about = {text: what for what, one in alone.items() for _, text in words.troubles(one)}
    for level, text in words.troubles(beat):
        yield {"what": about.get(text, ""), "level": str(level), "text": clean(text)}


def _question(row: Row, known: Known) -> dict[str, Any]:
    asked = question(row, known.offers.get(mark_of(row[0][1])))
    return {
        "about": [token_of(standing) for standing in asked.about],
        "question": clean(asked.text),
        "answers": [
            {"key": answer.act.key, "act": name_of(answer.act), "said": clean(answer.said), "can": answer.can}
            for answer in asked.answers
        ],
    }


def token_of(standing: Standing) -> str:
    """Return what an alarm is known by on the page: another cause of the same capture is another alarm."""
    return _digest(repr(mark_of(standing)).encode())


def name_of(act: Act) -> str:
    """Return what an act is called when the page asks for it."""
    return act.name.lower().replace("_", "-")


def _digest(data: bytes) -> str:
    return hashlib.blake2b(data, digest_size=8).hexdigest()
