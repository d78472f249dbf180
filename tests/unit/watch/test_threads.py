# SPDX-License-Identifier: MIT
"""Looks that are taken again and again beside the event loop."""

from __future__ import annotations

import asyncio

from api.watch.threads import Pace, keep_looking


def test_a_look_that_fails_is_complained_of_and_taken_again() -> None:
    looks: list[int] = []
    taken: list[int] = []
    complaints: list[str] = []

    def look() -> int:
        looks.append(len(looks))
        if len(looks) == 2:
            raise OSError("the disk is away")
        return len(looks)

    async def until_three() -> None:
        enough = asyncio.Event()

        def then(found: int) -> None:
            taken.append(found)
            if len(taken) == 3:
                enough.set()

        pace = Pace("looks", lambda: 0.0, 0.0, lambda: complaints.append("failed"))
        loop = asyncio.create_task(keep_looking(look, pace, then))
        await enough.wait()
        loop.cancel()
        await asyncio.gather(loop, return_exceptions=True)
        assert loop.cancelled()

    asyncio.run(until_three())

    assert taken[:3] == [1, 3, 4]
    assert complaints == ["failed"]
