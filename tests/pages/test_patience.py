"""Nobody can keep others from a page by connections: asked over real sockets."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from qc.pages import patience
from qc.pages.patience import MOST_OF_ONE
from qc.pages.serve import Served
from tests.pages.asking import Asker, served
from tests.pages.test_guard import own_address


async def page(_: Request) -> Response:
    return PlainTextResponse("a page")


@pytest.fixture
def everywhere() -> Iterator[Served]:
    with served(Starlette(routes=[Route("/", page)]), host="0.0.0.0") as (one, faults):
        yield one
    assert faults == []


def ended(link: socket.socket) -> bool:
    """Whether the other end has closed a connection that nothing was asked on."""
    try:
        return link.recv(1) == b""
    except ConnectionResetError:
        return True


def test_an_address_that_takes_all_it_can_leaves_the_page_to_this_machine(everywhere: Served) -> None:
    outside = own_address()
    with ExitStack() as stack:
        links = [
            stack.enter_context(socket.create_connection((outside, everywhere.port), timeout=30))
            for _ in range(MOST_OF_ONE + 30)
        ]
        for _ in range(3):
            assert Asker(everywhere.port)("/").body == b"a page"
        assert all(ended(link) for link in links[MOST_OF_ONE:])


def test_who_does_not_ask_in_time_is_let_go_and_who_asks_slowly_too(
    everywhere: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(patience, "HEAD_S", 0.5)
    with ExitStack() as stack:
        silent, slow = (
            stack.enter_context(socket.create_connection(("127.0.0.1", everywhere.port), timeout=30)) for _ in "ab"
        )
        slow.sendall(b"GET / HTTP/1.1\r\nHost: ")
        assert ended(silent)
        assert ended(slow)


def test_a_second_request_on_a_connection_must_come_in_time_too(
    everywhere: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(patience, "HEAD_S", 0.5)
    with socket.create_connection(("127.0.0.1", everywhere.port), timeout=30) as link:
        head = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{everywhere.port}\r\n\r\n".encode()
        link.sendall(head)
        answer = b""
        while not answer.endswith(b"key of this page\n"):
            answer += link.recv(65536)
        link.sendall(head[:20])
        assert ended(link)
