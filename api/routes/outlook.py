# SPDX-License-Identifier: MIT
"""What is about to happen in a batch."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.analysis.outlook import Outlooks
from api.answers import Json
from api.kitchen import KitchenHere
from api.times import parse_ms

router = APIRouter(prefix="/v1/batches", tags=["analysis"])


@router.get("/{batch_id}/outlook", summary="What is about to happen, and when")
def read_outlook(
    batch_id: str,
    request: Request,
    kitchen: KitchenHere,
    at: Annotated[str | None, Query(description="RFC 3339; now if left out")] = None,
) -> Response:
    """Time to target, to the boil, to the end of the running hold, to the chill's next limit.

    Each is `{"at","earliest","latest","method","from"}` with an interval that is to hold nine
    times in ten, or `{"status":"not shown","why"}`. Only what was read and recorded up to `at` is
    used.
    """
    outlooks: Outlooks = request.app.state.outlooks
    return Json(outlooks.of(kitchen, batch_id, parse_ms(at) if at is not None else None))
