# SPDX-License-Identifier: MIT
"""The page Set-up, and the first call of a new kitchen, which is led there."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from api.access import is_local
from api.kitchen import Kitchen, KitchenHere
from api.routes.page_answer import page_answer
from api.setup_page import is_first_run, setup_page

router = APIRouter(include_in_schema=False)


@router.get("/set-up")
def set_up(request: Request, kitchen: KitchenHere) -> Response:
    """A walk through what a kitchen needs; each step can be put off."""
    state = request.app.state

    def data() -> dict[str, Any]:
        return setup_page(kitchen, request.scope, host=state.host, token=state.token)

    return page_answer(request, kitchen, "set_up", data)


def led_to_set_up(request: Request, kitchen: Kitchen) -> Response | None:
    """Return the way to Set-up for the first look at a kitchen of which nothing is known."""
    wants_page = "text/html" in request.headers.get("accept", "")
    if wants_page and is_local(request.scope) and is_first_run(kitchen):
        return RedirectResponse("/set-up", 303, headers={"Cache-Control": "no-store"})
    return None
