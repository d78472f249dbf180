# SPDX-License-Identifier: MIT
"""The page of the alarms: what is open, how often they call, and what happened to them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.kitchen import Kitchen, KitchenHere
from api.routes.alarms import change_json, open_alarms, rate_json
from api.routes.page_answer import page_answer
from api.watch.alarm_book import AlarmBook

router = APIRouter(include_in_schema=False)

_MOST_CHANGES = 200


@router.get("/alarms")
def alarms_page(request: Request, kitchen: KitchenHere) -> Response:
    """Everything of the alarms."""
    return page_answer(request, kitchen, "alarms", lambda: alarms(kitchen))


def alarms(kitchen: Kitchen) -> dict[str, Any]:
    """Return what the page of the alarms shows."""
    folded = AlarmBook(kitchen.journal).folded(closed=True)
    last = folded.changes[-_MOST_CHANGES:]
    return {
        "alarms": open_alarms(kitchen),
        "changes": [change_json(entry, alarm) for entry, alarm in reversed(last)],
        "rate": rate_json(kitchen),
    }
