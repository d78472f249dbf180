from __future__ import annotations

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from api.watch.threads import finish


def test_a_cancelled_task_waits_for_what_its_thread_is_writing() -> None:
    begun, gate = threading.Event(), threading.Event()
    done: list[str] = []

    def write() -> None:
        begun.set()
        assert gate.wait(20)
        done.append("written")

    async def cancelled(executor: ThreadPoolExecutor) -> None:
        task = asyncio.create_task(finish(executor, write))
        await asyncio.to_thread(begun.wait, 20)
        task.cancel()
        await asyncio.sleep(0)
        assert not task.done()
        gate.set()
        with pytest.raises(asyncio.CancelledError):
            await task
        assert done == ["written"]

    with ThreadPoolExecutor(1) as executor:
        asyncio.run(cancelled(executor))


def test_an_error_of_the_thread_is_the_task_s() -> None:
    def fail() -> None:
        raise OSError("the disk is full")

    with ThreadPoolExecutor(1) as executor, pytest.raises(OSError, match="disk is full"):
        asyncio.run(finish(executor, fail))
