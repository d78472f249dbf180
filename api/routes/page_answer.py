# SPDX-License-Identifier: MIT
"""How any page is answered: its common data, its headers, and the problem page in its place."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from starlette.responses import Response

from api.kitchen import Kitchen
from api.problems import status_of
from api.times import format_ms
from collector.errors import CurdwrightError
from dashboards.render import render

HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; base-uri 'none'; "
    "object-src 'none'; form-action 'self'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


def page_answer(
    request: Request, kitchen: Kitchen, page: str, gather: Callable[[], dict[str, Any]]
) -> Response:
    """Return a page, or the problem page where its data can't be had.

    Args:
        request: Whose cookies say the reader's units.
        kitchen: The open kitchen.
        page: As `dashboards.render.render` knows it.
        gather: Gives the page's own data.
    """
    common = common_data(request, kitchen)
    try:
        return HTMLResponse(render(page, {**common, **gather()}), headers=HEADERS)
    except CurdwrightError as error:
        status = status_of(error)
        said = {
            "title": HTTPStatus(status).phrase,
            "detail": error.what,
            "where": error.where,
            "do": error.do,
        }
        return HTMLResponse(render("problem", {**common, "problem": said}), status, headers=HEADERS)


def common_data(request: Request, kitchen: Kitchen) -> dict[str, Any]:
    """Return what every page is given: the kitchen, the time, the reader's units.

    A device's own choice of units wins over the kitchen's.
    """
    place = kitchen.config.kitchen
    return {
        "kitchen": {"name": place.name, "zone": place.zone},
        "now": format_ms(kitchen.now_ms()),
        "units": {
            "temperature": request.cookies.get("curdwright_temperature")
            or kitchen.settings.value("temperature_unit"),
            "mass": request.cookies.get("curdwright_mass") or kitchen.settings.value("mass_unit"),
        },
    }
