# SPDX-License-Identifier: MIT
"""The computed record of a batch."""

from __future__ import annotations

from fastapi import APIRouter, Response

from api.analysis.whole import analysis
from api.answers import Json
from api.kitchen import KitchenHere

router = APIRouter(prefix="/v1/batches", tags=["analysis"])


@router.get("/{batch_id}/analysis", summary="Everything that is computed of a batch")
def read_analysis(batch_id: str, kitchen: KitchenHere) -> Response:
    """Each quantity is `{"value","unit","u","method","from"}`, or `{"status","why"}`.

    It is computed from what is stored, anew at each call; `revision` says whether the inputs are
    still those of the revision that was issued when the batch was closed.
    """
    return Json(analysis(kitchen, batch_id))
