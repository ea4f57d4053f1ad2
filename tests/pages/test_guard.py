"""What a page answers, and what it refuses, asked over a real socket.

Host and Origin: RFC 9110, 7.2; RFC 6454; Fetch Metadata Request Headers (W3C). That a name which somebody points
at 127.0.0.1 reaches a server on this machine is the reason for the check of Host.
"""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from qc.pages.guard import HERE, MOST_BODY
from tests.pages.asking import KEY, Asker, served


async def page(request: Request) -> Response:
    return PlainTextResponse(f"here: {request.scope[HERE]}")


async def act(request: Request) -> Response:
    return JSONResponse({"got": await request.json()})


async def broken(request: Request) -> Response:
    raise ValueError(f"no {request.url.path}")


def app() -> Starlette:
    routes = [
        Route("/", page),
        Route("/picture/{key}.jpg", page),
        Route("/act", act, methods=["POST"]),
        Route("/broken", broken),
    ]
    return Starlette(routes=routes)


@pytest.fixture
def ask() -> Iterator[Asker]:
    with served(app()) as (one, faults):
        yield Asker(one.port)
        assert faults == []


def test_with_the_key_of_the_link_a_page_opens_and_what_it_loads_comes_with_the_cookie(ask: Asker) -> None:
    opened = ask(f"/?key={KEY}", cookie=None)
    assert opened.status == 200
    cookie = opened.headers["set-cookie"]
    assert cookie == f"qc-{ask.port}={KEY}; Path=/; HttpOnly; SameSite=Strict"
    assert ask("/picture/ab12.jpg", cookie=cookie.partition(";")[0]).status == 200


@pytest.mark.parametrize(
    "cookie", [None, "", "qc-1={key}", "qc-{port}=", "qc-{port}=K" + "k" * 31, "qc-{port}={key}x", "other=1; a"]
)
def test_without_the_right_key_nothing_is_answered(ask: Asker, cookie: str | None) -> None:
    said = None if cookie is None else cookie.format(port=ask.port, key=KEY)
    for path in ("/", "/picture/ab12.jpg", "/?key=", "/?key=wrong", f"/?key={KEY}x", f"/?key={KEY}&key=x"):
        refused = ask(path, cookie=said)
        assert (refused.status, refused.body) == (
            403,
            b"open the link as it was printed: it carries the key of this page\n",
        )
        assert "set-cookie" not in refused.headers
    assert ask("/act", "POST", cookie=said).status == 403


def test_a_key_in_the_address_opens_the_page_and_nothing_else(ask: Asker) -> None:
    assert ask(f"/picture/ab12.jpg?key={KEY}", cookie=None).status == 403
    assert ask(f"/act?key={KEY}", "POST", cookie=None).status == 403


@pytest.mark.parametrize(
    "path",
    [
        "/..",
        "/../etc/passwd",
        "/picture/../../etc/passwd",
        "/picture/..%2f..%2fetc%2fpasswd.jpg",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/picture/%00.jpg",
        "/picture/a%62.jpg",
        "//etc/passwd",
        "/picture//ab.jpg",
        "/./act",
        "/.git/config",
        "/picture/..\\..\\x.jpg",
        "/picture/ab.jpg/",
        "/picture/\xff.jpg",
        "http://127.0.0.1/",
        "*",
    ],
)
def test_a_path_of_other_than_plain_parts_is_no_path(ask: Asker, path: str) -> None:
    with socket.create_connection(("127.0.0.1", ask.port), timeout=30) as link:
        lines = [f"GET {path} HTTP/1.1", f"Host: 127.0.0.1:{ask.port}", f"Cookie: qc-{ask.port}={KEY}"]
        link.sendall("\r\n".join([*lines, "Connection: close", "", ""]).encode("latin-1"))
        status = link.makefile("rb").readline().split()[1]
    assert status in (b"404", b"400")


@pytest.mark.parametrize("name", ["localhost:{port}", "127.0.0.1:{port}", "[::1]:{port}", "127.1.2.3:{port}"])
def test_this_machine_may_be_called_by_any_name_that_means_itself(ask: Asker, name: str) -> None:
    assert ask("/", host=name.format(port=ask.port)).body == b"here: True"


@pytest.mark.parametrize(
    "name",
    [
        *("evil.example:{port}", "evil.example", "127.0.0.1", "127.0.0.1:1", "127.0.0.1.evil.example:{port}"),
        *(
            "192.0.2.7:{port}",
            "localhost.evil.example:{port}",
            "",
            "localhost:",
            "localhost:x",
            "localhost:²",
            f"localhost:{'9' * 5000}",
            None,
        ),
    ],
)
def test_a_name_that_somebody_else_points_here_is_refused(ask: Asker, name: str | None) -> None:
    said = None if name is None else name.format(port=ask.port)
    assert ask("/", host=said).status in (400, 421)
    assert ask("/act", "POST", host=said).status in (400, 421)


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1", "http://localhost:{port}"],
)
def test_what_a_page_of_another_origin_asks_is_refused(ask: Asker, origin: str) -> None:
    said = origin.format(port=ask.port)
    for path, method in (("/", "GET"), ("/picture/ab12.jpg", "GET"), ("/act", "POST")):
        assert ask(path, method, origin=said).status == 403


def test_what_a_browser_says_was_asked_for_by_another_page_is_refused(ask: Asker) -> None:
    for site in ("cross-site", "same-site"):
        assert ask("/picture/ab12.jpg", sec_fetch_site=site, sec_fetch_dest="image").status == 403
        assert ask("/", sec_fetch_site=site, sec_fetch_dest="iframe").status == 403
    assert ask("/picture/ab12.jpg", sec_fetch_site="same-origin").status == 200
    sent_in_a_message = ask(f"/?key={KEY}", cookie=None, sec_fetch_site="cross-site", sec_fetch_dest="document")
    assert sent_in_a_message.status == 200


def test_an_act_needs_origin_json_and_a_length_that_is_not_too_long(ask: Asker) -> None:
    assert ask.post("/act", {"a": 1}).json == {"got": {"a": 1}}
    assert ask.post("/act", {}, origin=None).status == 403
    assert ask.post("/act", {}, content_type="text/plain").status == 415
    assert ask.post("/act", {}, content_type=None).status == 415
    assert ask("/act", "POST", content_length=None, transfer_encoding="chunked", body=b"0\r\n\r\n").status == 411
    assert ask("/act", "POST", content_length=str(MOST_BODY + 1)).status == 413
    assert ask("/act", "POST", content_length="9" * 5000).status in (400, 413)
    assert ask("/act", "PUT", body=b"").status in (403, 405)
    assert ask("/", "DELETE", origin=f"http://127.0.0.1:{ask.port}").headers["allow"] == "GET, HEAD, POST"


def test_every_answer_forbids_to_load_from_elsewhere_to_show_it_in_a_frame_and_to_keep_it(ask: Asker) -> None:
    for answer in (ask("/"), ask("/", cookie=None), ask("/nothing"), ask("/..")):
        assert answer.headers["cache-control"] == "no-store"
        policy = answer.headers["content-security-policy"].split("; ")
        assert {"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'"} <= set(policy)
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in answer.headers
        assert "server" not in answer.headers


def test_an_error_of_the_page_is_told_in_a_line_and_the_page_goes_on() -> None:
    with served(app()) as (one, faults):
        ask = Asker(one.port)
        assert ask("/broken").status == 500
        assert ask("/").status == 200
    assert faults == ["internal fault of the page at /broken: ValueError: no /broken"]


def own_address() -> str:
    """Return an address of this machine that is no loopback, or skip."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            pytest.skip("this machine is on no network")
        return str(probe.getsockname()[0])


def test_beyond_this_machine_the_key_lets_look_and_only_this_machine_acts() -> None:
    outside = own_address()
    with served(app(), host="0.0.0.0") as (one, faults):
        assert one.beyond
        assert one.link == f"http://{outside}:{one.port}/?key={KEY}"
        assert one.here == f"http://127.0.0.1:{one.port}/?key={KEY}"
        remote, here = Asker(one.port, to=outside), Asker(one.port)
        assert remote("/").body == b"here: False"
        assert remote("/", cookie=None).status == 403
        assert remote("/", host=f"evil.example:{one.port}").status == 421
        assert remote("/", host=f"{socket.gethostname()}:{one.port}").status == 200
        refused = remote.post("/act", {})
        assert (refused.status, refused.body) == (403, b"only the machine that serves this page may do that\n")
        assert here("/").body == b"here: True"
        assert here.post("/act", {}).status == 200
        as_if = here.post("/act", {}, host=f"{outside}:{one.port}", origin=f"http://{outside}:{one.port}")
        assert as_if.status == 403
        forwarded = remote.post("/act", {}, x_forwarded_for="127.0.0.1", forwarded="for=127.0.0.1")
        assert forwarded.status == 403
    assert faults == []


def test_served_at_one_address_of_a_network_this_machine_still_acts_by_its_own() -> None:
    outside = own_address()
    with served(app(), host=outside) as (one, faults):
        assert one.beyond
        assert one.link == f"http://{outside}:{one.port}/?key={KEY}"
        assert one.here == f"http://127.0.0.1:{one.port}/?key={KEY}"
        assert Asker(one.port).post("/act", {}).status == 200
        assert Asker(one.port, to=outside).post("/act", {}).status == 403
    assert faults == []


def test_on_the_loopback_address_nobody_else_is_heard() -> None:
    outside = own_address()
    with served(app()) as (one, _):
        assert not one.beyond
        assert one.here == one.link
        with pytest.raises(OSError, match="refused"):
            socket.create_connection((outside, one.port), timeout=30)
