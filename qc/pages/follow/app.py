"""The page of a watch over HTTP: fixed names and keys only; `qc.pages.guard` has let in who asks."""

from __future__ import annotations

import asyncio
import json
import re
import threading
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable
from contextlib import aclosing
from typing import Any, Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from qc.errors import QcError
from qc.pages.assets import Assets, kind_of
from qc.pages.follow.details import Details, details_of
from qc.pages.follow.hub import Hub
from qc.pages.follow.state import name_of
from qc.pages.follow.store import CHANGED, OUTSIDE, Held, Store
from qc.pages.follow.view import PageView
from qc.pages.guard import HERE
from qc.show.watching.menu import Act

PAGE: Final = "follow.html.j2"
FILES: Final = (
    *("follow.css", "details.css", "icon.svg"),
    *("follow.js", "details.js", "line.js", "notices.js", "picture.js", "tone.js", "words.js"),
)
"""Files of the page, for `qc.pages.assets.assets`."""

PAUSE_S: Final = 4.0
"""Seconds after which something is sent where there is nothing to tell, so that both ends notice a broken line."""

ACTS: Final = {name_of(act): act for act in Act}
"""What can be asked for."""

LOOKED_AT: Final = 4
"""Frames that were looked at closely whose drawings are kept: as many as may be open at once. Our own choice."""

MAKING: Final = 2
"""How many of them are drawn at once: whoever asks for many waits, not the watch. Our own choice."""

LEFT: Final = "it is not among the last frames, nor does it wait for an answer"

_KEY: Final = re.compile("[0-9a-f]{2,128}")

Handler = Callable[[Request], Any]


def make_app(view: PageView, *, store: Store, hub: Hub, assets: Assets) -> Starlette:
    """Return the page as an ASGI application.

    Parameters
    ----------
    view : PageView
        Does what is asked for.
    store : Store
        Pictures.
    hub : Hub
        States.
    assets : Assets
        Files of the page.
    """
    looked = _Looked(view, store)
    return Starlette(
        routes=[
            Route("/", _given(assets.page, "page.html")),
            *(Route(f"/{name}", _given(data, name)) for name, data in assets.files.items()),
            Route("/now", _now(hub)),
            Route("/picture/{key}.jpg", _kept(store.picture, "picture.jpg")),
            Route("/mark/{key}.svg", _kept(store.mark, "mark.svg")),
            Route("/details/{key}", looked.fragment),
            Route("/details/{key}/{name}", looked.file),
            Route("/act", _act(view), methods=["POST"]),
        ]
    )


def _given(data: bytes, name: str) -> Handler:
    async def give(_: Request) -> Response:
        return Response(data, media_type=kind_of(name))

    return give


def _kept(find: Callable[[str], bytes | None], name: str) -> Handler:
    async def give(request: Request) -> Response:
        key = request.path_params["key"]
        data = await run_in_threadpool(find, key) if _KEY.fullmatch(key) else None
        return Response(status_code=404) if data is None else Response(data, media_type=kind_of(name))

    return give


class _Looked:
    """What was made of the frames that somebody looked at closely, for the files that are asked for after it."""

    def __init__(self, view: PageView, store: Store) -> None:
        self._view = view
        self._store = store
        self._made: OrderedDict[str, Details] = OrderedDict()
        self._lock = threading.Lock()
        self._at_once = asyncio.Semaphore(MAKING)

    async def fragment(self, request: Request) -> Response:
        key = request.path_params["key"]
        held = await run_in_threadpool(self._store.held, key) if _KEY.fullmatch(key) else None
        if held is None:
            return Response(f"{LEFT}\n", status_code=404, media_type="text/plain")
        if held.without in (OUTSIDE, CHANGED):
            return Response(f"{held.without}\n", status_code=404, media_type="text/plain")
        async with self._at_once:
            made = await run_in_threadpool(self._make, key, held)
        return Response(made.html, media_type=kind_of("details.html"))

    async def file(self, request: Request) -> Response:
        name = request.path_params["name"]
        with self._lock:
            made = self._made.get(request.path_params["key"])
        data = made.files.get(name) if made is not None else None
        return Response(status_code=404) if data is None else Response(data, media_type=kind_of(name))

    def _make(self, key: str, held: Held) -> Details:
        made = details_of(
            self._store.out,
            held.content,
            key=key,
            specs=self._store.specs,
            standing=held.standing,
            levels=self._view.levels,
            may_show=self._store.may_show,
        )
        with self._lock:
            self._made[key] = made
            self._made.move_to_end(key)
            while len(self._made) > LOOKED_AT:
                self._made.popitem(last=False)
        return made


def _now(hub: Hub) -> Handler:
    async def follow(request: Request) -> Response:
        if request.method == "HEAD":
            return Response(media_type="text/event-stream")
        may_act = is_here(request)

        async def messages() -> AsyncIterator[str]:
            async with aclosing(hub.listen(pause_s=PAUSE_S)) as states:
                async for state in states:
                    yield ": still here\n\n" if state is None else _message({**state, "may_act": may_act})

        return StreamingResponse(messages(), media_type="text/event-stream")

    return follow


def _message(state: dict[str, Any]) -> str:
    """Return a state as one event of a stream (HTML Living Standard, 9.2 Server-sent events)."""
    return f"data: {json.dumps(state, allow_nan=False)}\n\n"


def _act(view: PageView) -> Handler:
    async def act(request: Request) -> Response:
        if not is_here(request):
            return _said(403, "only the machine that serves this page may do that")
        asked = _asked(await request.body())
        if asked is None:
            return _said(400, "no act of this page")
        try:
            return _said(200, await run_in_threadpool(view.ask, *asked))
        except QcError as error:
            return _said(409, " ".join(str(error).split()))

    return act


def _asked(body: bytes) -> tuple[Act, tuple[str, ...]] | None:
    try:
        said = json.loads(body)
        act, about = ACTS[said["act"]], said.get("about", [])
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    if not isinstance(about, list) or not all(isinstance(one, str) for one in about):
        return None
    return (act, tuple(about)) if about or act is Act.UNDO else None


def _said(status: int, text: str) -> Response:
    return JSONResponse({"said": text.encode("utf-8", "backslashreplace").decode()}, status_code=status)


def is_here(request: Request) -> bool:
    """Tell whether a request comes from this machine, as the guard found."""
    return bool(request.scope.get(HERE, False))
