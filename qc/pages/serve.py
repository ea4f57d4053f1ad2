"""`Served`: one page on a socket of ours, in a thread of its own, until it is stopped."""

from __future__ import annotations

import ipaddress
import logging
import os
import socket
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from qc.errors import UsageError
from qc.pages.guard import KEY, App, Guard

if TYPE_CHECKING:
    import uvicorn

LOOPBACK: Final = "127.0.0.1"

PATIENCE_S: Final = 10.0
"""Longest that a server may take to begin or to end."""

_NOWHERE: Final = {socket.AF_INET: "192.0.2.1", socket.AF_INET6: "2001:db8::1"}
"""Addresses that no machine has (RFC 5737, RFC 3849): to be told which of our own a packet would leave by. None is
sent."""


class Served:
    """A page that is served.

    `link` is what a person opens, `beyond` whether others than this machine can; `here` is the link by which this
    machine itself does, None where that is not to be had.

    Parameters
    ----------
    app : ASGI application
        The page.
    key : str
        Of the link (`qc.pages.keyring`).
    host : str
        Address to listen at; only this machine can reach the usual one.
    port : int
        0 for any that is free.
    before_end : callable or None
        Ends answers that would go on for ever, so that the server can end.
    fault : callable
        Told in one line of everything that goes wrong in the server, from its thread.

    Raises
    ------
    UsageError
        When the address is none of this machine's, or the port is taken or not allowed.
    """

    def __init__(
        self,
        app: App,
        *,
        key: str,
        host: str = LOOPBACK,
        port: int = 0,
        before_end: Callable[[], None] | None = None,
        fault: Callable[[str], None],
    ) -> None:
        self._before_end = before_end
        self._fault = fault
        first = _listening(host, port)
        self.port: int = first.getsockname()[1]
        address = ipaddress.ip_address(first.getsockname()[0].partition("%")[0])
        self.beyond = not address.is_loopback
        self.link = _link(_own_address(first.family) if address.is_unspecified else host, self.port, key)
        self._sockets = [first, *(_also_here(self.port) if self.beyond and not address.is_unspecified else [])]
        loopback = LOOPBACK if address.version == 4 or len(self._sockets) > 1 else "::1"
        reached = address.is_unspecified or len(self._sockets) > 1
        self.here = self.link if not self.beyond else _link(loopback, self.port, key) if reached else None
        names = {host, socket.gethostname(), socket.getfqdn()} if self.beyond else ()
        guard = Guard(app, key=key, port=self.port, names=names, beyond=self.beyond, fault=fault)
        self._server = _server(guard)
        self._thread = threading.Thread(target=self._run, name="page", daemon=True)
        self._begun = threading.Event()

    @property
    def runs(self) -> bool:
        """Whether it still answers."""
        return self._thread.is_alive()

    def start(self) -> None:
        """Serve; returns when the page can be opened."""
        log = logging.getLogger("uvicorn.error")
        log.propagate = False  # a line of its own would tear the watch's screen
        log.handlers[:] = [_Told(self._fault)]
        self._thread.start()

    def stop(self) -> None:
        """End; returns when nothing is served any more."""
        if self._before_end is not None:
            self._before_end()
        self._server.should_exit = True
        self._thread.join(PATIENCE_S)
        for one in self._sockets:
            one.close()

    def _run(self) -> None:
        try:
            self._server.run(sockets=self._sockets)
        except Exception as error:  # noqa: BLE001 - told; what it shows goes on without it
            self._fault(f"the page ended: {type(error).__name__}: {error}")


class _Told(logging.Handler):
    """Hands the server's own errors over; what strangers send it is no error of ours."""

    def __init__(self, fault: Callable[[str], None]) -> None:
        super().__init__(logging.ERROR)
        self._fault = fault

    def emit(self, record: logging.LogRecord) -> None:
        self._fault(" ".join(f"the page's server: {record.getMessage()}".split()))


def _server(guard: App) -> uvicorn.Server:
    import uvicorn

    from qc.pages.patience import Patient

    return uvicorn.Server(
        uvicorn.Config(
            guard,
            http=Patient,
            ws="none",
            loop="asyncio",
            lifespan="off",
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,  # who asks is who is connected, whatever a header says
            timeout_graceful_shutdown=2,
        )
    )


def reaches_beyond(host: str) -> bool:
    """Tell whether a page served at an address can be reached by other machines; True where it is unknown."""
    try:
        address = socket.getaddrinfo(host, 0, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0][4][0]
        return not ipaddress.ip_address(str(address).partition("%")[0]).is_loopback
    except (OSError, ValueError):
        return True  # to listen there will tell what is wrong


def _listening(host: str, port: int) -> socket.socket:
    if not 0 <= port < 65536:
        raise UsageError(f"{port}: no port; they are 1 to 65535")
    try:
        family, *_, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
        return socket.create_server(address[:2], family=family)
    except socket.gaierror:
        raise UsageError(f"{host}: no address of this machine") from None
    except OSError as error:
        why = os.strerror(error.errno) if error.errno else str(error)
        raise UsageError(f"{host}, port {port}: {why}") from error


def _also_here(port: int) -> list[socket.socket]:
    """Return a socket at which this machine reaches a page that is served at one address of a network only."""
    try:
        return [socket.create_server((LOOPBACK, port))]
    except OSError:  # something else is served there: then it can look by the other address, as all do
        return []


def _link(host: str, port: int, key: str) -> str:
    return f"http://{f'[{host}]' if ':' in host else host}:{port}/?{KEY}={key}"


def _own_address(family: socket.AddressFamily) -> str:
    """Return the address under which others on the network reach this machine; its name where there is none."""
    with socket.socket(family, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((_NOWHERE[family], 9))
        except OSError:
            return socket.gethostname()
        return str(probe.getsockname()[0])
