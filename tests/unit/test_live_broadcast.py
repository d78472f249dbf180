"""The live stream loses nothing, whenever a page begins to listen."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator

import pytest

from api.kitchen import Kitchen
from api.live.broadcast import Broadcast, Event, Position, parse_position
from collector.readings import Reading, TimeSource
from collector.store.protocol import Arrived

LONGEST_S = 20.0


def reading(second: int, value: float) -> Reading:
    at_ms = 1_772_439_300_000 + second * 1000
    return Reading("north/milk", value, "Cel", at_ms, TimeSource.INSTRUMENT, at_ms)


class SlowTail:
    """The real store's tail, whose question for the end can be held up."""

    def __init__(self, kitchen: Kitchen) -> None:
        self._kitchen = kitchen
        self.asked = threading.Event()
        self.may_answer = threading.Event()
        self.may_answer.set()

    def since(self, arrival: int, limit: int) -> list[Arrived]:
        """Return what arrived after a number."""
        return self._kitchen.readings.since(arrival, limit)

    def last_arrival(self) -> int:
        """Return the end, as it is when the answer is let through."""
        self.asked.set()
        assert self.may_answer.wait(LONGEST_S)
        return self._kitchen.readings.last_arrival()


def everything(_event: Event) -> bool:
    return True


async def until_named(stream: AsyncIterator[bytes], name: str) -> bytes:
    """Return the first event of a name."""
    async with asyncio.timeout(LONGEST_S):
        async for said in stream:
            if f"event: {name}\n".encode() in said:
                return said
    raise AssertionError("the stream ended")


async def begin(stream: AsyncIterator[bytes]) -> None:
    """Take what every stream begins with, so that its listener is known."""
    await anext(stream)
    await anext(stream)


async def end(task: asyncio.Task[None], stream: AsyncIterator[bytes]) -> None:
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    await stream.aclose()  # type: ignore[attr-defined]


async def held_up(broadcast: Broadcast, tail: SlowTail) -> asyncio.Task[None]:
    """Start the follower and hold it up while it looks, idle, for the present end."""
    following = asyncio.create_task(broadcast.follow())
    await asyncio.to_thread(tail.asked.wait, LONGEST_S)
    tail.asked.clear()
    tail.may_answer.clear()
    await asyncio.to_thread(tail.asked.wait, LONGEST_S)
    return following


def test_a_reading_that_comes_while_a_page_begins_to_listen_is_not_lost(kitchen: Kitchen) -> None:
    tail = SlowTail(kitchen)
    broadcast = Broadcast(tail, kitchen.journal.chains, kitchen.now_ms)

    async def scene() -> bytes:
        following = await held_up(broadcast, tail)
        stream = broadcast.listen(everything, None)
        await begin(stream)
        kitchen.readings.append([reading(1, 79.5)])
        tail.may_answer.set()
        said = await until_named(stream, "reading")
        await end(following, stream)
        return said

    assert b'"value":79.5' in asyncio.run(scene())


def test_a_page_that_is_newer_than_the_follower_is_not_told_to_begin_anew(
    kitchen: Kitchen,
) -> None:
    tail = SlowTail(kitchen)
    broadcast = Broadcast(tail, kitchen.journal.chains, kitchen.now_ms)

    async def scene() -> list[bytes]:
        following = await held_up(broadcast, tail)
        kitchen.readings.append([reading(1, 79.5)])
        stream = broadcast.listen(everything, Position(1, 0))  # the page shows that one already
        await begin(stream)
        kitchen.readings.append([reading(2, 79.25)])
        tail.may_answer.set()
        told: list[bytes] = []
        async with asyncio.timeout(LONGEST_S):
            async for said in stream:
                told.append(said)
                if b"79.25" in said:
                    break
        await end(following, stream)
        return told

    assert not [said for said in asyncio.run(scene()) if b"event: reset" in said]


def test_a_page_of_another_store_is_told_to_begin_anew(kitchen: Kitchen) -> None:
    broadcast = Broadcast(kitchen.readings, kitchen.journal.chains, kitchen.now_ms)

    async def scene() -> bytes:
        following = asyncio.create_task(broadcast.follow())
        stream = broadcast.listen(everything, Position(5000, 0))
        await begin(stream)
        said = await until_named(stream, "reset")
        await end(following, stream)
        return said

    assert b"event: reset" in asyncio.run(scene())


@pytest.mark.parametrize("text", ["", "r1", "r1.ex", "1.2", "r-1.e2"])
def test_an_event_id_that_is_none_is_no_position(text: str) -> None:
    assert parse_position(text) is None
