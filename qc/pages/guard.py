"""Who may ask a page of ours for what: all that comes from a network passes here first, or is refused here.

Four questions, in this order. Is the path one of plain signs, so that it can only name what a page offers? Does
the request name this machine as it is really called (a name that somebody else resolves to this machine is
refused)? Does it come from a page of ours, when it comes from a page at all? Does it bring the key of the link?
To change anything it must come from this machine as well.
"""

from __future__ import annotations

import hmac
import ipaddress
import re
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import parse_qs

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[MutableMapping[str, Any], Receive, Send], Awaitable[None]]

HERE: Final = "qc.here"
"""Key of an ASGI scope: whether the request comes from this machine."""

KEY: Final = "key"
"""Name of the key in the link."""

MOST_BODY: Final = 262_144
"""Bytes that a request may bring."""

READS: Final = ("GET", "HEAD")

PLAIN: Final = re.compile(rb"(/[A-Za-z0-9_~-][A-Za-z0-9._~-]*)+|/")
"""A path that names something of ours: no escapes, no empty parts, no part that begins with a dot."""

HEADERS: Final[Mapping[str, str]] = {
    "cache-control": "no-store",
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self';"
        " base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}
"""On every answer: nothing from elsewhere is loaded, nobody else may show it, read it or keep it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why a request is not answered.

    Attributes
    ----------
    status : int
        Of HTTP (RFC 9110).
    why : str
        One sentence.
    """

    status: int
    why: str


NO_SUCH: Final = Refusal(status=404, why="there is nothing of this name here")
OTHER_NAME: Final = Refusal(status=421, why="this machine is not called so")
OTHER_ORIGIN: Final = Refusal(status=403, why="asked for by a page that is not ours")
NO_KEY: Final = Refusal(status=403, why="open the link as it was printed: it carries the key of this page")
NOT_HERE: Final = Refusal(status=403, why="only the machine that serves this page may do that")
NO_METHOD: Final = Refusal(status=405, why="this can be read, and acts can be posted")
NOT_JSON: Final = Refusal(status=415, why="acts come as application/json")
NO_LENGTH: Final = Refusal(status=411, why="say how long it is")
TOO_LONG: Final = Refusal(status=413, why="too long")
BROKEN: Final = Refusal(status=500, why="an internal fault, told where the page was started")


class Guard:
    """Lets those requests through to a page that it may answer.

    Parameters
    ----------
    app : ASGI application
        The page.
    key : str
        Of the link. Compared in constant time.
    port : int
        At which it is served.
    names : iterable of str
        Host names, besides ``localhost``, by which a request may call this machine. Addresses need not be named:
        no name server can point one elsewhere.
    beyond : bool
        Whether it is served beyond this machine; else requests must call it by a loopback address.
    fault : callable
        Told in one line of an error of the page's own.
    """

    def __init__(
        self,
        app: App,
        *,
        key: str,
        port: int,
        names: Iterable[str] = (),
        beyond: bool = False,
        fault: Callable[[str], None],
    ) -> None:
        self._app = app
        self._key = key
        self._port = port
        self._names = frozenset(name.casefold() for name in names)
        self._beyond = beyond
        self._fault = fault
        self._cookie = f"qc-{port}"  # a browser sends the cookies of one host to all of its ports

    async def __call__(self, scope: MutableMapping[str, Any], receive: Receive, send: Send) -> None:
        """Answer one connection."""
        if scope["type"] != "http":  # no page of ours speaks anything else
            return
        headers = _headers(scope)
        try:
            refusal = self._refusal(scope, headers)
        except Exception as error:  # noqa: BLE001 - what cannot be judged is not let through
            self._fault(f"internal fault of the page's guard: {type(error).__name__}: {error}")
            refusal = BROKEN
        if refusal is not None:
            await _answer(refusal, send)
            return
        from starlette.requests import ClientDisconnect

        scope[HERE] = self._is_here(scope, headers)
        answer = _Answer(send, self._cookie_to_set(scope))
        try:
            await self._app(scope, receive, answer)
        except ClientDisconnect:
            return  # who asked has left
        except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line; the page goes on
            self._fault(f"internal fault of the page at {scope['path']}: {type(error).__name__}: {error}")
            if not answer.begun:
                await _answer(BROKEN, send)

    def _refusal(self, scope: Mapping[str, Any], headers: Mapping[str, list[str]]) -> Refusal | None:
        path = scope.get("raw_path") or scope["path"].encode("utf-8", "surrogateescape")
        if not PLAIN.fullmatch(path.partition(b"?")[0]):
            return NO_SUCH
        if not self._is_called(headers.get("host", [])):
            return OTHER_NAME
        method = scope["method"]
        if not self._is_from_ours(method, scope["path"], headers):
            return OTHER_ORIGIN
        if not (self._key_in_link(scope) or self._key_in_cookies(headers)):
            return NO_KEY
        if method in READS:
            return None
        if method != "POST":
            return NO_METHOD
        return self._refusal_of_act(scope, headers)

    def _refusal_of_act(self, scope: Mapping[str, Any], headers: Mapping[str, list[str]]) -> Refusal | None:
        if not self._is_here(scope, headers):
            return NOT_HERE
        if headers.get("content-type", [""])[0].partition(";")[0].strip().casefold() != "application/json":
            return NOT_JSON
        length = headers.get("content-length", [""])[0]
        if not (length.isascii() and length.isdigit()):
            return NO_LENGTH
        return TOO_LONG if len(length) > len(str(MOST_BODY)) or int(length) > MOST_BODY else None

    def _is_called(self, hosts: list[str]) -> bool:
        if len(hosts) != 1:
            return False
        name, port = _host(hosts[0])
        if port != self._port:
            return False
        address = _address(name)
        if address is not None:
            return self._beyond or address.is_loopback
        return name == "localhost" or (self._beyond and name in self._names)

    def _is_from_ours(self, method: str, path: str, headers: Mapping[str, list[str]]) -> bool:
        """Tell whether a request was made by a page of ours, or by a person who opened a link."""
        origins = headers.get("origin", [])
        if origins and origins != [f"http://{headers['host'][0]}"]:
            return False
        if method not in READS:
            return bool(origins)  # every browser sends it with what is posted
        site = headers.get("sec-fetch-site", ["none"])[0]
        opened = path == "/" and headers.get("sec-fetch-dest", [""])[0] == "document"
        return site in ("same-origin", "none") or opened  # a link may have been sent in a message

    def _key_in_link(self, scope: Mapping[str, Any]) -> bool:
        if scope["path"] != "/" or scope["method"] not in READS:
            return False
        said = parse_qs(scope["query_string"].decode("latin-1")).get(KEY, [])
        return len(said) == 1 and self._is_key(said[0])

    def _key_in_cookies(self, headers: Mapping[str, list[str]]) -> bool:
        pairs = (pair.strip().partition("=") for line in headers.get("cookie", []) for pair in line.split(";"))
        return any(name == self._cookie and self._is_key(value) for name, _, value in pairs)

    def _is_key(self, said: str) -> bool:
        return hmac.compare_digest(said.encode(), self._key.encode())

    def _cookie_to_set(self, scope: Mapping[str, Any]) -> str | None:
        if not self._key_in_link(scope):
            return None
        return f"{self._cookie}={self._key}; Path=/; HttpOnly; SameSite=Strict"

    def _is_here(self, scope: Mapping[str, Any], headers: Mapping[str, list[str]]) -> bool:
        """Tell whether a request comes from this machine and calls it by a name that means itself."""
        client = _address(scope["client"][0]) if scope.get("client") else None
        name, _ = _host(headers["host"][0])
        called = _address(name)
        return (
            client is not None
            and client.is_loopback
            and (name == "localhost" or (called is not None and called.is_loopback))
        )


class _Answer:
    """Passes an answer on with our headers, and knows whether it has begun."""

    def __init__(self, send: Send, cookie: str | None) -> None:
        self._send = send
        self._cookie = cookie
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            ours = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
            if self._cookie is not None:
                ours.append((b"set-cookie", self._cookie.encode()))
            names = {name for name, _ in ours}
            theirs = [(name, value) for name, value in message.get("headers", []) if name.lower() not in names]
            message = {**message, "headers": [*theirs, *ours]}
        await self._send(message)


async def _answer(refusal: Refusal, send: Send) -> None:
    body = f"{refusal.why}\n".encode()
    headers = {**HEADERS, "content-type": "text/plain; charset=utf-8", "content-length": str(len(body))}
    if refusal.status == 405:
        headers["allow"] = "GET, HEAD, POST"
    lines = [(name.encode(), value.encode()) for name, value in headers.items()]
    await send({"type": "http.response.start", "status": refusal.status, "headers": lines})
    await send({"type": "http.response.body", "body": body})


def _headers(scope: Mapping[str, Any]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _host(header: str) -> tuple[str, int | None]:
    """Return name and port of a Host header; 80 where it has none, None for what is no port."""
    name, colon, port = header.casefold().rpartition(":")
    if not colon or port.endswith("]"):
        return header.casefold(), 80
    return name, int(port) if port.isascii() and port.isdigit() and len(port) <= 5 else None


def _address(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """Return an address as it is written in a Host header or a socket; None for a name."""
    try:
        address = ipaddress.ip_address(text.removeprefix("[").removesuffix("]").partition("%")[0])
    except ValueError:
        return None
    mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return mapped or address
