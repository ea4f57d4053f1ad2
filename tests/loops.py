"""Asynchronous code in tests: in a thread of its own, since a browser of others may keep a loop in this one."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Told = TypeVar("Told")

PATIENCE_S = 60.0


def run(what: Awaitable[Told], patience_s: float = PATIENCE_S) -> Told:
    """Wait for what is asynchronous, so long."""

    async def within() -> Told:
        return await asyncio.wait_for(what, patience_s)

    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, within()).result()
