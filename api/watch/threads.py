# SPDX-License-Identifier: MIT
"""Blocking work in threads of one's own, which a cancelled task waits for.

Imports only the standard library.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Pace:
    """How often something is looked at.

    Attributes:
        name: Of the thread in which the looks are taken.
        pause_s: Returns how long to pause after a look that went well [s].
        after_fault_s: After one that failed [s].
        complain: Logs, while the fault is being handled, that it failed.
    """

    name: str
    pause_s: Callable[[], float]
    after_fault_s: float
    complain: Callable[[], None]


async def keep_looking(
    look: Callable[[], T], pace: Pace, then: Callable[[T], None] | None = None
) -> None:
    """Look again and again until cancelled; a look that fails ends nothing.

    Args:
        look: May block; is called in a thread of its own.
        pace: How often.
        then: Takes what a look found, on the event loop.
    """
    with ThreadPoolExecutor(1, pace.name) as executor:
        while True:
            try:
                found = await finish(executor, look)
                if then is not None:
                    then(found)
                pause_s = pace.pause_s()
            except Exception:  # whatever it is, the next look may go well
                pace.complain()
                pause_s = pace.after_fault_s
            await asyncio.sleep(pause_s)


async def finish(executor: Executor, call: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    """Call a blocking function in a thread; if cancelled, wait for its end before giving way.

    A call that writes is so never left running behind a database that is being closed.
    """
    loop = asyncio.get_running_loop()
    running = loop.run_in_executor(executor, lambda: call(*args, **kwargs))
    try:
        return await asyncio.shield(running)
    except asyncio.CancelledError:
        await asyncio.wait([running])
        if not running.cancelled():
            running.exception()  # looked at, so that nobody is told that it wasn't
        raise
