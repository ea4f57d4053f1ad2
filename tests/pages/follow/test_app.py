"""The page of a watch over HTTP: states stream, pictures have keys, acts are JSON; nothing else is there."""

from __future__ import annotations

import http.client
import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from qc.errors import UsageError
from qc.intake.updates import Heartbeat
from qc.log.log import Log
from qc.pages.assets import Assets
from qc.pages.follow import app as app_module
from qc.pages.follow.app import LEFT, make_app
from qc.pages.follow.hub import Hub
from qc.pages.follow.store import OUTSIDE, Store, key_of
from qc.pages.follow.view import ANSWERED, PageView
from qc.pages.serve import Served
from qc.reading import Level
from qc.show.watching.board import Board
from qc.show.watching.menu import Act
from qc.show.watching.words import Said
from tests.log.made import captured, lay
from tests.loops import run
from tests.pages.asking import KEY, WAIT_S, Answer, Asker, served
from tests.pages.follow.pictured_day import digest
from tests.sheet.toys import LABEL, SPECS
from tests.show.scripted_day import BURNT, cause, measured, shot, standing

FILES = Assets(page=b"<!doctype html>", files={"look.css": b"a{}", "follow.js": b"1;"}, digest="0a")


class Pressed:
    """Stands for the view: keeps what it is asked for."""

    def __init__(self) -> None:
        self.levels: dict[str, Level] = {}
        self.asked: list[tuple[Act, tuple[str, ...]]] = []
        self.error: Exception | None = None

    def ask(self, act: Act, about: tuple[str, ...]) -> str:
        if self.error is not None:
            raise self.error
        self.asked.append((act, about))
        return f"done: {act.name}"


@dataclass
class Page:
    served: Served
    faults: list[str]
    ask: Asker
    view: Pressed
    hub: Hub
    store: Store
    folder: Path

    @contextmanager
    def stream(self) -> Iterator[http.client.HTTPResponse]:
        link = http.client.HTTPConnection("127.0.0.1", self.served.port, timeout=WAIT_S)
        try:
            link.request("GET", "/now", headers={"Cookie": f"qc-{self.served.port}={KEY}"})
            yield link.getresponse()
        finally:
            link.close()


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    folder = tmp_path / "bottles"
    folder.mkdir()
    hub, store, view = Hub(), Store(folder, tmp_path / "bottles.qc", SPECS), Pressed()
    app = make_app(view, store=store, hub=hub, assets=FILES)  # type: ignore[arg-type]  # asked for no more than this
    with served(app, before_end=hub.close) as (page, faults):
        yield Page(page, faults, Asker(page.port), view, hub, store, folder)
    assert faults == []


def message(stream: http.client.HTTPResponse) -> Any:
    line, empty = stream.readline(), stream.readline()
    assert empty == b"\n", (line, empty)
    return json.loads(line.removeprefix(b"data: "))


def test_the_page_and_its_files_have_fixed_names(page: Page) -> None:
    assert page.ask("/").body == FILES.page
    for name, data in FILES.files.items():
        answer = page.ask(f"/{name}")
        assert (answer.status, answer.body) == (200, data)
    assert page.ask("/look.css").headers["content-type"] == "text/css; charset=utf-8"
    assert page.ask("/follow.js").headers["content-type"] == "text/javascript; charset=utf-8"


def test_a_stream_tells_the_state_at_once_and_each_newer_one_and_ends_with_the_watch(page: Page) -> None:
    page.hub.put({"frame": 1})
    with page.stream() as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        assert message(stream) == {"frame": 1, "may_act": True}
        page.hub.put({"frame": 2})
        assert message(stream) == {"frame": 2, "may_act": True}
        page.hub.put({"frame": 3})
        page.hub.close()
        assert message(stream)["frame"] == 3
        assert stream.read() == b""


def test_where_nothing_happens_something_is_sent_all_the_same(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    assert app_module.PAUSE_S <= 5
    monkeypatch.setattr(app_module, "PAUSE_S", 0.05)
    with page.stream() as stream:
        assert stream.readline().startswith(b":")


def test_a_listener_that_goes_away_is_forgotten(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app_module, "PAUSE_S", 0.05)
    with page.stream() as stream:
        assert stream.readline().startswith(b":")
        assert page.hub.listeners == 1
    until = threading.Event()
    for _ in range(600):
        if page.hub.listeners == 0:
            break
        until.wait(0.05)
    assert page.hub.listeners == 0


def test_pictures_and_marks_have_keys_and_nothing_else_has_any(page: Page) -> None:
    of = replace(shot(1, causes=[cause(BURNT, Level.HALT)]), digest=digest(60, 90))
    own = measured(of)
    page.store.put(own.result, own.standing, (LABEL,))
    page.store.make_mark(own.standing)
    picture, mark = page.ask("/picture/0001.jpg"), page.ask("/mark/0001.svg")
    assert (picture.status, picture.headers["content-type"]) == (200, "image/jpeg")
    assert picture.body[:2] == b"\xff\xd8"
    assert (mark.status, mark.headers["content-type"]) == (200, "image/svg+xml")


@pytest.mark.parametrize(
    "path",
    [
        "/picture/0002.jpg",
        "/picture/SB_0001.jpg",
        "/picture/..%2f0001.jpg",
        "/picture/%30001.jpg",
        "/picture/../0001.jpg",
        "/picture/x/0001.jpg",
        "/picture/0001.dng",
        "/picture/.jpg",
        "/mark/0002.svg",
        "/details/0002",
        "/details/0001/..%2flog.sqlite3",
        "/details/0001/log.sqlite3",
        "/log.sqlite3",
        "/page/follow.js",
        "/follow.html.j2",
        "//look.css",
        "/look.css/",
        "/LOOK.CSS",
    ],
)
def test_what_is_not_offered_is_not_there(page: Page, path: str) -> None:
    own = measured(replace(shot(1), digest=digest(60, 90)))
    page.store.put(own.result, own.standing)
    answer = page.ask(path)
    assert (answer.status, b"JFIF" in answer.body) == (404, False)


def test_a_capture_that_a_link_leads_out_to_is_not_shown_anywhere(page: Page, tmp_path: Path) -> None:
    (tmp_path / "private.dng").write_bytes(b"x")
    link = page.folder / "SB_0001.dng"
    link.symlink_to(tmp_path / "private.dng")
    of = shot(1, causes=[cause(BURNT, Level.HALT)])
    own = measured(replace(of, digest=digest(60, 90), file=replace(of.file, path=str(link))))
    page.store.put(own.result, own.standing, (LABEL,))
    page.store.make_mark(own.standing)
    for path in ("/picture/0001.jpg", "/mark/0001.svg", "/details/0001"):
        assert page.ask(path).status == 404
    assert page.ask("/details/0001").body.decode().strip() == OUTSIDE


def test_details_of_a_frame_and_their_files(page: Page, tmp_path: Path) -> None:
    own = captured(7)
    with Log.open(tmp_path / "bottles.qc") as log:
        log.add(replace(own, result=replace(own.result, digest=digest(60, 90))))
    content = captured(7).content
    key = key_of(content)
    assert page.ask(f"/details/{key}").body.decode().strip() == LEFT
    lay(page.store.folder, own)
    page.store.recall(replace(standing(shot(7)), content=content))
    answer = page.ask(f"/details/{key}")
    assert (answer.status, answer.headers["content-type"]) == (200, "text/html; charset=utf-8")
    names = {part.split('"')[0] for part in answer.body.decode().split(f"/details/{key}/")[1:]}
    assert names, answer.body.decode()
    for name in names:
        assert page.ask(f"/details/{key}/{name}").status == 200, name


@pytest.mark.parametrize("name", ["accept", "dark", "leave-out", "answer", "baseline"])
def test_an_act_is_asked_of_the_watch_and_its_words_come_back(page: Page, name: str) -> None:
    answer = page.ask.post("/act", {"act": name, "about": ["0a", "0b"]})
    assert (answer.status, set(answer.json)) == (200, {"said"})
    act = Act[name.replace("-", "_").upper()]
    assert page.view.asked == [(act, ("0a", "0b"))]
    assert answer.json["said"] == f"done: {act.name}"


def test_an_undo_is_about_nothing(page: Page) -> None:
    assert page.ask.post("/act", {"act": "undo"}).status == 200
    assert page.view.asked == [(Act.UNDO, ())]


def test_why_an_act_cannot_be_done_comes_back_as_one_line(page: Page) -> None:
    page.view.error = UsageError("SB_\udcff:\nno alarm that waits")
    answer = page.ask.post("/act", {"act": "accept", "about": ["0a"]})
    assert (answer.status, answer.json) == (409, {"said": "SB_\\udcff: no alarm that waits"})


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"null",
        b"{",
        b'{"act": "delete", "about": ["0a"]}',
        b'{"act": ["accept"], "about": ["0a"]}',
        b'{"act": "accept"}',
        b'{"act": "accept", "about": []}',
        b'{"act": "accept", "about": "0a"}',
        b'{"act": "accept", "about": [1]}',
        b'{"about": ["0a"]}',
        b"[" * 30_000,
        b"\xff\xfe",
    ],
)
def test_what_is_no_act_is_refused_and_nothing_is_asked_of_the_watch(page: Page, body: bytes) -> None:
    answer = page.ask("/act", "POST", body=body)
    assert (answer.status, page.view.asked) == (400, [])


def test_an_act_comes_as_json_by_post_from_this_machine(page: Page) -> None:
    body = b'{"act": "undo"}'
    refused: list[Answer] = [
        page.ask("/act", "POST", body=body, content_type="text/plain"),
        page.ask("/act", "POST", body=body, content_type="application/x-www-form-urlencoded"),
        page.ask("/act", "POST", body=body, origin="http://elsewhere.example"),
        page.ask("/act", "POST", body=body, cookie=None),
        page.ask("/act"),
    ]
    assert [one.status for one in refused] == [415, 415, 403, 403, 405]
    assert page.view.asked == []


def test_without_a_guard_nobody_may_act(tmp_path: Path) -> None:
    view, sent = Pressed(), []
    app = make_app(view, store=Store(tmp_path, tmp_path), hub=Hub(), assets=FILES)  # type: ignore[arg-type]  # as above

    async def receive() -> Any:
        return {"type": "http.request", "body": b'{"act": "undo"}'}

    async def send(message: Any) -> None:
        sent.append(message)

    headers = [(b"content-type", b"application/json")]
    run(app({"type": "http", "method": "POST", "path": "/act", "headers": headers}, receive, send))
    assert (sent[0]["status"], view.asked) == (403, [])


def test_acting_goes_all_the_way_to_the_watch_and_the_stream_tells_it(tmp_path: Path) -> None:
    board, hub, woken = Board(SPECS), Hub(), threading.Event()
    done: list[str] = []

    def do(wish: Any) -> Said:
        done.extend(one.content for one in wish.about)
        board.handled(wish.about, [])
        view.say(Said(time="10:00:00", reason="answered: label burnt", kind="answered"))
        return Said(time="10:00:00", reason="answered: label burnt", kind="answered")

    store = Store(tmp_path, tmp_path / "qc", SPECS)
    view = PageView(board, store=store, hub=hub, do=do, offer=lambda _: None, wake=woken.set)

    def take(update: Any) -> None:
        view.take(update, board.take(update))

    def watch() -> None:
        woken.wait(WAIT_S)
        take(Heartbeat())

    take(measured(shot(1, causes=[BURNT])))
    app = make_app(view, store=store, hub=hub, assets=FILES)
    with served(app, before_end=hub.close) as (page, faults):
        following = Page(page, faults, Asker(page.port), Pressed(), hub, store, tmp_path)
        with following.stream() as stream:
            about = message(stream)["alarms"][0]["about"]
            watching = threading.Thread(target=watch)
            watching.start()
            answer = following.ask.post("/act", {"act": "answer", "about": about})
            watching.join(WAIT_S)
            assert (answer.status, answer.json["said"]) == (200, "answered: label burnt")
            state = message(stream)
            assert (state["alarms"], [one["text"] for one in state["said"]]) == ([], ["answered: label burnt"])
        assert done == ["blake2b:0001"]
        woken.clear()
        watching = threading.Thread(target=watch)
        watching.start()
        again = following.ask.post("/act", {"act": "answer", "about": about})
        watching.join(WAIT_S)
        assert (again.status, again.json) == (409, {"said": ANSWERED})
    assert faults == []
