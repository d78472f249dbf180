# SPDX-License-Identifier: MIT
"""The page Instruments, and the walk through a check."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.instrument_data import check_page, instruments_page
from api.kitchen import KitchenHere
from api.routes.page_answer import page_answer

router = APIRouter(include_in_schema=False)


@router.get("/instruments")
def instruments(request: Request, kitchen: KitchenHere, saved: str = "") -> Response:
    """Every instrument with its last reading, its health, its place and its checks."""

    def data() -> dict[str, Any]:
        base = {"base_url": str(request.base_url).rstrip("/")}
        return {**base, **instruments_page(kitchen, saved)}

    return page_answer(request, kitchen, "instruments", data)


@router.get("/instruments/check")
def check(request: Request, kitchen: KitchenHere, series: str = "", kind: str = "") -> Response:
    """An ice, boiling-point, weight or dip check, step by step."""
    return page_answer(request, kitchen, "check", lambda: check_page(kitchen, series, kind))
