# SPDX-License-Identifier: MIT
"""From a thread to the event loop, many things at one waking. Imports nothing of the project."""

from __future__ import annotations

import asyncio
from collections import deque
from contextlib import suppress
from typing import Generic, TypeVar

T = TypeVar("T")


class Inbox(Generic[T]):
    """What threads put in, and one task takes out, in order.

    The loop is woken once for all that has come until the task runs, so that a thing costs about
    as much as an append to a list.
    """

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        """Start empty.

        Args:
            loop: The loop of the task that takes out.
        """
        self._loop = loop
        self._things: deque[T] = deque()
        self._arrived = asyncio.Event()
        self._waking = False

    def put(self, thing: T) -> None:
        """Add a thing, from any thread; after the loop's end it goes nowhere."""
        self._things.append(thing)
        if not self._waking:
            self._waking = True
            with suppress(RuntimeError):  # the loop is closed
                self._loop.call_soon_threadsafe(self._arrived.set)

    async def take(self) -> list[T]:
        """Wait until something has come, and return all of it, at least one."""
        while True:
            await self._arrived.wait()
            self._arrived.clear()
            self._waking = False  # before taking: who comes now wakes the loop again
            taken = []
            while self._things:
                taken.append(self._things.popleft())
            if taken:
                return taken
