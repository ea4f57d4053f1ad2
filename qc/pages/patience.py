"""Connections of which nobody can have so many, or hold them open so long, that others get none.

Whoever reaches the port can connect; the key is asked for only when a request has come whole. So a connection that
does not ask is closed, each address of a network has a share of its own, and this machine a share that no other
can take.
"""

from __future__ import annotations

import asyncio
import ipaddress
from typing import Final

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S: Final = 10.0
"""Seconds in which a request must have come whole, from when the connection waits for one."""

MOST_OF_ONE: Final = 16
"""Connections of one address of a network; a page that is open holds one and some more for its pictures."""

MOST_OF_OTHERS: Final = 64
"""Connections of all of them."""

MOST_HERE: Final = 64
"""Connections of this machine."""


class Patient(H11Protocol):
    """One connection to a page."""

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take a connection up, or end it at once when there are too many like it."""
        assert isinstance(transport, asyncio.Transport)
        super().connection_made(transport)
        if _too_many(self._origin, [one._origin for one in self.connections if isinstance(one, Patient)]):
            transport.abort()
            return
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._stop_waiting()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take up what came; a request that is not whole yet must become so in time."""
        super().data_received(data)
        if self._is_asked:
            self._stop_waiting()
        elif self._late is None:
            self._wait()

    @property
    def _origin(self) -> str | None:
        """The address of a network that it comes from; None for this machine."""
        address = ipaddress.ip_address(self.client[0].partition("%")[0]) if self.client else None
        mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
        address = mapped or address
        return None if address is None or address.is_loopback else str(address)

    @property
    def _is_asked(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _wait(self) -> None:
        self._late = self.loop.call_later(HEAD_S, self._give_up)

    def _stop_waiting(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _give_up(self) -> None:
        self._late = None
        if not self._is_asked:
            self.transport.abort()


def _too_many(origin: str | None, all_: list[str | None]) -> bool:
    """Tell whether a connection that is counted in `all_` is one too many."""
    if origin is None:
        return all_.count(None) > MOST_HERE
    return all_.count(origin) > MOST_OF_ONE or len(all_) - all_.count(None) > MOST_OF_OTHERS
