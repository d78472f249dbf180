# SPDX-License-Identifier: MIT
"""One thread for all calls to the store, so that they block nobody else.

Imports nothing of the project. It is not one of the event loop's own threads: those are few, are
shared, and are waited for at the end, and a disk that hangs must not keep the program from ending.
"""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import TypeVar

A = TypeVar("A")
R = TypeVar("R")


class StoreThread:
    """Calls blocking functions one after the other; ends with the program.

    The forwarding has one of its own, since what it waits for is the network.
    """

    def __init__(self, name: str = "store") -> None:
        self._jobs: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        threading.Thread(target=self._run, name=name, daemon=True).start()

    async def call(self, function: Callable[[A], R], argument: A) -> R:
        """Return what the function returns, or raise what it raises."""
        loop = asyncio.get_running_loop()
        done: asyncio.Future[R] = loop.create_future()

        def tell(set_it: Callable[[], None]) -> None:
            with suppress(RuntimeError):  # the loop is closed
                loop.call_soon_threadsafe(lambda: None if done.done() else set_it())

        def job() -> None:
            try:
                result = function(argument)
            except BaseException as error:
                raised = error  # outlives the except clause
                tell(lambda: done.set_exception(raised))
            else:
                tell(lambda: done.set_result(result))

        self._jobs.put(job)
        return await done

    def _run(self) -> None:
        while True:
            self._jobs.get()()
