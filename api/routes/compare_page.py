# SPDX-License-Identifier: MIT
"""The page Compare, and its picture as a file."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.compare_data import Address, compare
from api.kitchen import KitchenHere
from api.routes.page_answer import common_data, page_answer
from dashboards.compare_view import picture_of
from dashboards.reader import reader_of

router = APIRouter(include_in_schema=False)

_Batches = Annotated[list[str], Query()]


def _address(request: Request, batches: list[str]) -> Address:
    said = request.query_params
    return Address(
        batches=batches,
        align=said.get("align", "time"),
        temperature=said.get("temperature", ""),
        unit=said.get("unit") or request.cookies.get("curdwright_temperature") or "degC",
        words=said.get("q", ""),
        begin=said.get("from", ""),
        end=said.get("to", ""),
    )


@router.get("/compare")
def compare_page(
    request: Request,
    kitchen: KitchenHere,
    batch: _Batches = [],  # noqa: B006 - FastAPI copies it
) -> Response:
    """Batches over each other; everything that is chosen stands in the address."""

    def data() -> dict[str, Any]:
        return compare(kitchen, _address(request, batch))

    return page_answer(request, kitchen, "compare", data)


@router.get("/compare/picture.svg")
def compare_picture(
    request: Request,
    kitchen: KitchenHere,
    batch: _Batches = [],  # noqa: B006 - FastAPI copies it
) -> Response:
    """The picture of the curves as a file; empty where no batch has a curve."""
    data = {**common_data(request, kitchen), **compare(kitchen, _address(request, batch))}
    picture = picture_of(data, reader_of(data), "wide")
    return Response(
        picture,
        200 if picture else 404,
        media_type="image/svg+xml",
        headers={
            "Content-Disposition": 'attachment; filename="curdwright-compared.svg"',
            "Cache-Control": "no-store",
            "X-Content-Type-Options": "nosniff",
        },
    )
