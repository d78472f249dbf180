# SPDX-License-Identifier: MIT
"""The live stream of server-sent events."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Header, Query, Request
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from api.kitchen import Kitchen, KitchenHere
from api.live.broadcast import Broadcast, Event, parse_position

router = APIRouter(prefix="/v1/live", tags=["live"])


@router.get("", summary="Follow readings, marks and alarms as they come")
async def live(
    request: Request,
    kitchen: KitchenHere,
    batch: Annotated[list[str], Query()] = [],  # noqa: B006 - FastAPI copies it
    series: Annotated[list[str], Query()] = [],  # noqa: B006
    last_event_id: Annotated[str | None, Header()] = None,
    after: str | None = None,
) -> StreamingResponse:
    """Server-sent events `reading`, `mark`, `alarm`, `reset`, and a `heartbeat` every 10 s.

    `proposal` comes with a new proposal of the detector and when one is dismissed, `question` when
    an idle pot has begun to heat and when that is answered. `outlook` says what is about to happen
    in an open batch and `offer` what its scales offer; these two have no id and aren't sent again.
    An event's id is `r<arrival>.e<record number>`; a page that comes back with it gets what it
    missed, up to 5,000 readings, beyond that `reset`. `after` does the same by address.
    """
    broadcast: Broadcast = request.app.state.broadcast
    wants = await run_in_threadpool(_chooser, kitchen, batch, series)
    return StreamingResponse(
        broadcast.listen(wants, parse_position(last_event_id or after)),
        media_type="text/event-stream",
        headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
    )


def _chooser(kitchen: Kitchen, batches: list[str], series: list[str]) -> Callable[[Event], bool]:
    if not batches and not series:
        return lambda event: True
    bound = {b.series for name in batches for b in kitchen.journal.batch(name).bindings}
    wanted = bound | set(series)
    chains = set(batches)

    def wants(event: Event) -> bool:
        if event.name == "reading":
            return event.series in wanted
        return event.chain in chains or not chains

    return wants
