"""The newest state reaches every listener, whoever puts it and however slow they are."""

from __future__ import annotations

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import aclosing
from typing import Any

from qc.pages.follow.hub import Hub
from tests.loops import run


def state(number: int, *, age: float = 0.0) -> dict[str, Any]:
    return {"frame": number, "heart": {"clock": "10:00:00", "age_s": age}}


def test_a_listener_gets_what_there_is_at_once_and_then_what_another_thread_puts() -> None:
    async def listening() -> list[int]:
        hub = Hub()
        hub.put(state(1))
        got = []
        async for one in hub.listen():
            assert one is not None
            got.append(one["frame"])
            if len(got) == 3:
                return got
            putting = threading.Thread(target=hub.put, args=(state(one["frame"] + 1),))
            putting.start()
        return got

    assert run(listening()) == [1, 2, 3]


def test_a_slow_listener_gets_the_newest_state_and_none_that_was_between() -> None:
    async def listening() -> list[int]:
        hub = Hub()
        hub.put(state(1))
        got = []
        async with aclosing(hub.listen()) as states:
            async for one in states:
                assert one is not None
                got.append(one["frame"])
                if one["frame"] == 300:
                    return got
                for number in range(2, 301):
                    hub.put(state(number))
        return got

    assert run(listening()) == [1, 300]


def test_what_has_not_changed_is_not_sent_again_and_an_age_is_no_change() -> None:
    async def listening() -> list[Any]:
        hub = Hub()
        hub.put(state(1))
        got: list[Any] = []
        async with aclosing(hub.listen(pause_s=0.05)) as states:
            async for one in states:
                got.append(one and one["frame"])
                if len(got) == 3:
                    return got
                hub.put(state(1, age=float(len(got))))
        return got

    assert run(listening()) == [1, None, None]


def test_where_nothing_comes_the_pause_is_told_and_later_a_state_still_arrives() -> None:
    async def listening() -> list[Any]:
        hub = Hub()
        got: list[Any] = []
        async with aclosing(hub.listen(pause_s=0.05)) as states:
            async for one in states:
                got.append(one and one["frame"])
                if len(got) == 2:
                    return got
                hub.put(state(7))
        return got

    assert run(listening()) == [None, 7]


def test_closing_ends_every_listening_after_the_last_state_and_forgets_the_listeners() -> None:
    async def listening() -> tuple[list[list[int]], int]:
        hub = Hub()
        hub.put(state(1))

        async def one() -> list[int]:
            return [got["frame"] async for got in hub.listen() if got is not None]

        tasks = [asyncio.create_task(one()) for _ in range(3)]
        while hub.listeners < 3:
            await asyncio.sleep(0.01)
        hub.put(state(2))
        hub.close()
        return await asyncio.gather(*tasks), hub.listeners

    told, left = run(listening())
    assert [one[-1] for one in told] == [2, 2, 2]
    assert left == 0


def test_a_loop_that_ended_without_leaving_is_no_trouble_to_the_others() -> None:
    hub = Hub()
    hub.put(state(1))
    states = hub.listen()

    def ended() -> Any:
        loop = asyncio.new_event_loop()
        first = loop.run_until_complete(anext(states))
        loop.close()
        return first

    with ThreadPoolExecutor(1) as thread:
        assert thread.submit(ended).result() == state(1)
    hub.put(state(2))
    assert hub.listeners == 1

    async def listening() -> Any:
        async with aclosing(hub.listen()) as others:
            return await anext(others)

    assert run(listening()) == state(2)
