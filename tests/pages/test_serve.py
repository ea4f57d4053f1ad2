from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from qc.errors import UsageError
from qc.pages.serve import Served
from tests.pages.asking import KEY, Asker, served


async def page(_: Request) -> Response:
    return PlainTextResponse("a page")


def test_a_page_that_was_stopped_can_be_served_again_at_the_same_port_at_once() -> None:
    app = Starlette(routes=[Route("/", page)])
    with served(app) as (first, _):
        port = first.port
        assert Asker(port)("/").body == b"a page"
    assert not first.runs
    with served(app, port=port) as (second, _):
        assert second.link == f"http://127.0.0.1:{port}/?key={KEY}"
        assert Asker(port)("/").body == b"a page"


def test_an_answer_that_would_go_on_for_ever_does_not_keep_the_server_from_ending() -> None:
    over = asyncio.Event()
    loops: list[asyncio.AbstractEventLoop] = []

    async def endless(_: Request) -> Response:
        loops.append(asyncio.get_running_loop())

        async def said() -> AsyncIterator[bytes]:
            yield b"begun\n"
            await over.wait()

        return StreamingResponse(said())

    app = Starlette(routes=[Route("/", endless)])
    with served(app, before_end=lambda: loops[0].call_soon_threadsafe(over.set)) as (one, faults):
        link = socket.create_connection(("127.0.0.1", one.port), timeout=30)
        link.sendall(f"GET /?key={KEY} HTTP/1.1\r\nHost: 127.0.0.1:{one.port}\r\n\r\n".encode())
        file = link.makefile("rb")
        while b"begun" not in file.readline():
            pass
    assert not one.runs
    assert faults == []
    link.close()


def test_a_port_that_is_taken_and_an_address_of_another_machine_are_said_in_one_line() -> None:
    app = Starlette()
    with (
        served(app) as (one, _),
        pytest.raises(UsageError, match=rf"127\.0\.0\.1, port {one.port}: Address already in use$"),
    ):
        Served(app, key=KEY, port=one.port, fault=print)
    with pytest.raises(UsageError, match=r"192\.0\.2\.1, port 0: "):
        Served(app, key=KEY, host="192.0.2.1", fault=print)
    with pytest.raises(UsageError, match="no such host here: no address of this machine"):
        Served(app, key=KEY, host="no such host here", fault=print)
    with pytest.raises(UsageError, match="70000: no port"):
        Served(app, key=KEY, port=70000, fault=print)
