"""The routes of the page of drawing. `qc.pages.guard` has let a request through before it comes here."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Final

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from qc.errors import UsageError
from qc.pages.assets import assets, kind_of
from qc.pages.drawing.asked import Body, Done, Measure, Save, parsed
from qc.pages.drawing.questions import OvertakenError
from qc.pages.drawing.session import Session

if TYPE_CHECKING:
    from qc.pages.assets import Assets

COPIED: Final = (
    "draw.css",
    "draw.js",
    "icon.svg",
    "book.js",
    "card.js",
    "desk.js",
    "elsewhere.js",
    "keys.js",
    "picture.js",
    "pointing.js",
    "readings.js",
    "shapes.js",
    "talk.js",
    "view.js",
    "words.js",
)
Handler = Callable[[Request], Awaitable[Response]]
WRONG, CONFLICT = 400, 409


class RefusedError(Exception):
    """A body that is none of ours."""

    def __init__(self, status: int, why: str) -> None:
        self.status = status
        self.why = why
        super().__init__(why)


def application(session: Session, done: Callable[[], None]) -> Starlette:
    """Return the page of drawing.

    Parameters
    ----------
    session : Session
        The capture and its sheet.
    done : callable
        Called when the page has had the answer to its last request.
    """
    page = assets("qc.pages.drawing", "draw.html.j2", COPIED, capture=session.name)
    routes = [
        Route("/", lambda _: Response(page.page, media_type=kind_of("draw.html"))),
        *(Route(f"/{name}", _file(page, name)) for name in page.files),
        Route("/picture.jpg", lambda _: Response(session.picture, media_type=kind_of("picture.jpg"))),
        Route("/start", _start(session, page.digest)),
        Route("/found", _found(session)),
        Route("/measure", _measure(session), methods=["POST"]),
        Route("/save", _save(session), methods=["POST"]),
        Route("/done", _done(session, done), methods=["POST"]),
    ]
    return Starlette(routes=routes, exception_handlers={RefusedError: _refused})


def _file(page: Assets, name: str) -> Callable[[Request], Response]:
    return lambda _: Response(page.files[name], media_type=kind_of(name))


def _start(session: Session, digest: str) -> Callable[[Request], Response]:
    def answer(_: Request) -> Response:
        try:
            return _answer({**session.start(), "page": digest})
        except UsageError as error:
            return _answer({"said": str(error)}, CONFLICT)

    return answer


def _found(session: Session) -> Handler:
    async def answer(_: Request) -> Response:
        return _answer({"found": await session.found()})

    return answer


def _measure(session: Session) -> Handler:
    async def answer(request: Request) -> Response:
        asked = await _read(request, Measure)
        try:
            return _answer(await session.measure(asked))
        except OvertakenError as error:
            return _answer({"said": str(error)}, CONFLICT)

    return answer


def _save(session: Session) -> Handler:
    async def answer(request: Request) -> Response:
        asked = await _read(request, Save)
        try:
            return _answer(await session.save(asked))
        except UsageError as error:
            return _answer({"said": str(error)}, CONFLICT)

    return answer


def _done(session: Session, done: Callable[[], None]) -> Handler:
    async def answer(request: Request) -> Response:
        await _read(request, Done)
        return _answer({"said": session.said}, background=BackgroundTask(done))

    return answer


async def _read(request: Request, model: type[Body]) -> Body:
    asked = parsed(await request.body(), model)  # no longer than the guard lets through
    if isinstance(asked, str):
        raise RefusedError(WRONG, asked)
    return asked


async def _refused(_: Request, error: Exception) -> Response:
    assert isinstance(error, RefusedError)
    return _answer({"said": error.why}, error.status)


def _answer(said: dict[str, object], status: int = 200, background: BackgroundTask | None = None) -> Response:
    headers = {"cache-control": "no-store"}
    return JSONResponse(said, status_code=status, headers=headers, background=background)
