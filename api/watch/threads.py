# SPDX-License-Identifier: MIT
"""Blocking work in threads of one's own, which a cancelled task waits for.

Imports only the standard library.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Executor
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


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
