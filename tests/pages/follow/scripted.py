"""A watch that says what it is told to: the page with states from a script, and no folder behind it."""

from __future__ import annotations

import asyncio
import io
import json
from collections.abc import AsyncIterator, Iterator
from contextlib import aclosing, contextmanager
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from qc.pages.assets import Assets, assets, kind_of
from qc.pages.follow.app import FILES, PAGE
from qc.pages.follow.hub import Hub
from qc.pages.serve import Served
from qc.show.watching.menu import NUMBERED
from tests.pages.asking import served

State = dict[str, Any]

SIZE = (1600, 1067)
FREE, WAITING = "3 120 frames free", "0 waiting"


def files() -> Assets:
    return assets("qc.pages.follow", PAGE, FILES)


def frame(number: int, level: str = "clear", reason: str = "", **changes: Any) -> State:
    """The newest frame, as the state has it."""
    name = f"SB_{number:04}.dng"
    key = f"{number:08x}"
    return {
        "key": key,
        "name": name,
        "stem": "SB_",
        "number": f"{number:04}",
        "level": level,
        "word": level,
        "reason": reason,
        "more": 0,
        "again": "",
        "causes": [reason] if reason else [],
        "settings": "1/125 s, f/11, ISO 100",
        "time": "10:01:00",
        "looking": False,
        "picture": f"/picture/{key}.jpg",
        "size": list(SIZE),
        "mark": f"/mark/{key}.svg?1" if level in ("warn", "halt") else None,
        "without": "",
        **changes,
    }


def alarm(number: int, reason: str = "label burnt 10.64 %", level: str = "halt") -> State:
    """What is asked about a frame: the answers of the terminal's menu."""
    said = [
        ("accept", "intended: accept label burnt up to 11.7 %", True),
        ("dark", "this is the dark frame: for a frame without flash", False),
        ("leave-out", "leave this frame out", True),
        ("answer", "seen, will be shot again", True),
        ("baseline", "make it the baseline", True),
    ]
    answers = [
        {"key": str(at), "act": act, "said": words, "can": can} for at, (act, words, can) in enumerate(said, 1)
    ]
    name = f"SB_{number:04}.dng"
    return {"about": [f"blake2b:{number:08x}#1"], "question": f"{name}, {level}: {reason}", "answers": answers}


def newest(number: int, level: str = "clear") -> State:
    """What is asked about the newest frame where it does not wait for an answer."""
    asked = alarm(number, level=level)
    can = {"leave-out", "baseline"}
    answers = [
        {
            **answer,
            "can": answer["act"] in can,
            "said": act.said if answer["act"] in can else f"{act.said}: {act.only}",
        }
        for answer, act in zip(asked["answers"], NUMBERED, strict=True)
    ]
    return {
        "about": [f"blake2b:{number:08x}#0"],
        "question": f"SB_{number:04}.dng, {level}",
        "answers": answers,
    }


def still_open(number: int, reason: str = "label burnt 10.4 %", level: str = "halt", frames: int = 1) -> State:
    return {"level": level, "name": f"SB_{number:04}", "reason": reason, "frames": frames}


def trouble(text: str, what: str = "sheet", level: str = "warn") -> State:
    return {"what": what, "level": level, "text": text}


LOST = trouble("folder lost: no frame can arrive until it is back", "folder")
LOG_LOST = trouble("log lost: measuring goes on, nothing is kept", "log")


def state(
    newest: State | None = None,
    before: str = "",
    *,
    alarms: list[State] | None = None,
    asks: State | None = None,
    opens: list[State] | None = None,
    said: list[str] | None = None,
    hint: list[str] | None = None,
    watch: str = "on",
    **heart: Any,
) -> State:
    """A state; `before` are the levels of the frames before the newest, a letter each: c n w h u."""
    words = {"c": "clear", "n": "note", "w": "warn", "h": "halt", "u": "unjudged", "?": "unmeasured"}
    number = int(newest["number"]) if newest is not None and newest["number"] else len(before) + 1
    strip = [
        {
            "key": f"{number - len(before) + at:08x}",
            "name": f"SB_{number - len(before) + at:04}.dng",
            "level": words[one],
        }
        for at, one in enumerate(before)
    ]
    if newest is not None and not newest["looking"]:
        strip.append({"key": newest["key"], "name": newest["name"], "level": newest["level"]})
    return {
        "page": files().digest,
        "watch": watch,
        "folder": "bottles",
        "frame": newest,
        "strip": strip[-12:],
        "heart": {
            "clock": "10:02:11",
            "last": newest["name"] if newest is not None else None,
            "age_s": 14.2 if newest is not None else None,
            "pieces": [WAITING, FREE] if newest is not None else [WAITING, "118 GB free"],
            "needs": "still needed: dark",
            "troubles": [],
            **heart,
        },
        "open": opens or [],
        "open_frames": sum(one["frames"] for one in opens or []),
        "alarms": alarms or [],
        "newest": asks,
        "said": [{"time": "10:02:09", "text": text} for text in said or []],
        "hint": hint or [],
    }


def plain(code: int, size: tuple[int, int] = (240, 160)) -> bytes:
    """An even grey as JPEG."""
    return _jpeg(np.full(size[::-1], code, dtype=np.uint8))


def bright(size: tuple[int, int] = SIZE, seed: int = 0) -> bytes:
    """A high-key capture as JPEG: a nearly white backdrop that fills most of it, a darker bottle before it."""
    wide, high = size
    grey = np.full((high, wide), 246, dtype=np.uint8)
    grey[high // 5 :, wide * 2 // 5 : wide * 3 // 5] = 96 + seed % 32
    return _jpeg(grey)


def _jpeg(grey: NDArray[np.uint8]) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(grey).save(buffer, "JPEG", quality=80)
    return buffer.getvalue()


PLACE = b"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1000 667" preserveAspectRatio="none">
<rect x="430" y="300" width="140" height="180" fill="none" stroke="#f0e442" stroke-width="6"/></svg>"""

DETAILS = "<h2>{name}</h2><p>clipped 10.64 %</p><script>document.title = 'ran'</script>"


@dataclass
class Script:
    """What the page is told, and what it asked for.

    `refuse` is why nothing can be done, `mute` lets connections stand without a sign, `given` is the last picture
    that was asked for.
    """

    hub: Hub = field(default_factory=Hub)
    may_act: bool = True
    acts: list[State] = field(default_factory=list)
    refuse: str = ""
    pictures: dict[str, bytes] = field(default_factory=dict)
    marks: dict[str, bytes] = field(default_factory=dict)
    details: dict[str, str] = field(default_factory=dict)
    layers: dict[str, bytes] = field(default_factory=dict)
    loaded: int = 0
    given: str = ""
    mute: bool = False

    def app(self) -> Starlette:
        made = files()
        common = bright()

        async def opened(_: Request) -> Response:
            self.loaded += 1
            return Response(made.page, media_type=kind_of("page.html"))

        async def given(request: Request) -> Response:
            name = request.url.path[1:]
            return Response(made.files[name], media_type=kind_of(name))

        async def now(_: Request) -> Response:
            async def told() -> AsyncIterator[str]:
                while self.mute:  # connected, and not a sign
                    await asyncio.sleep(0.05)
                async with aclosing(self.hub.listen(pause_s=4.0)) as states:
                    async for one in states:
                        yield (
                            ": here\n\n"
                            if one is None
                            else f"data: {json.dumps({**one, 'may_act': self.may_act})}\n\n"
                        )

            return StreamingResponse(told(), media_type="text/event-stream")

        async def picture(request: Request) -> Response:
            self.given = request.path_params["key"]
            data = self.pictures.get(self.given, common)
            return Response(data, media_type="image/jpeg") if data else Response(status_code=404)

        async def mark(request: Request) -> Response:
            return Response(self.marks.get(request.path_params["key"], PLACE), media_type="image/svg+xml")

        async def details(request: Request) -> Response:
            key = request.path_params["key"]
            return Response(self.details.get(key, DETAILS.format(name=key)), media_type="text/html")

        async def layer(request: Request) -> Response:
            name = request.path_params["name"]
            return Response(self.layers[f"{request.path_params['key']}/{name}"], media_type=kind_of(name))

        async def act(request: Request) -> Response:
            self.acts.append(await request.json())
            if self.refuse:
                return JSONResponse({"said": self.refuse}, status_code=409)
            return JSONResponse({"said": f"done: {self.acts[-1]['act']}"})

        return Starlette(
            routes=[
                Route("/", opened),
                Route("/now", now),
                Route("/picture/{key}.jpg", picture),
                Route("/mark/{key}.svg", mark),
                Route("/details/{key}", details),
                Route("/details/{key}/{name}", layer),
                Route("/act", act, methods=["POST"]),
                *(Route(f"/{name}", given) for name in made.files),
            ]
        )

    @contextmanager
    def served(self, port: int = 0) -> Iterator[Served]:
        with served(self.app(), port=port, before_end=self.hub.close) as (one, faults):
            yield one
        assert faults == []
