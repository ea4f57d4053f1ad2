"""Requests as anybody could send them: nothing of them is put right on the way."""

from __future__ import annotations

import http.client
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from qc.pages.guard import App
from qc.pages.serve import Served

KEY = "k" * 32
WAIT_S = 30.0


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


@dataclass(frozen=True)
class Asker:
    """Asks a page. What it sends along by itself is what a browser on this machine would."""

    port: int
    key: str = KEY
    to: str = "127.0.0.1"

    def __call__(
        self, path: str, method: str = "GET", *, body: bytes | None = None, **changes: str | None
    ) -> Answer:
        """Ask; `changes` are headers by name with _ for -, None leaves one out."""
        host = f"{self.to}:{self.port}"
        headers: dict[str, str | None] = {"host": host, "cookie": f"qc-{self.port}={self.key}"}
        if method == "POST":
            body = b"{}" if body is None else body
            headers |= {"origin": f"http://{host}", "content-type": "application/json"}
            headers["content-length"] = str(len(body))
        headers |= {name.replace("_", "-"): value for name, value in changes.items()}
        link = http.client.HTTPConnection(self.to, self.port, timeout=WAIT_S)
        try:
            link.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in headers.items():
                if value is not None:
                    link.putheader(name, value)
            link.endheaders(body)
            answer = link.getresponse()
            got = {name.lower(): value for name, value in answer.getheaders()}
            return Answer(answer.status, got, answer.read())
        finally:
            link.close()

    def post(self, path: str, what: object, **changes: str | None) -> Answer:
        return self(path, "POST", body=json.dumps(what).encode(), **changes)


@contextmanager
def served(app: App, **how: Any) -> Iterator[tuple[Served, list[str]]]:
    """Serve a page; yields it and what went wrong."""
    faults: list[str] = []
    page = Served(app, key=KEY, fault=faults.append, **how)
    page.start()
    try:
        yield page, faults
    finally:
        page.stop()
