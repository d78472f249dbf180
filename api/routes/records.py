# SPDX-License-Identifier: MIT
"""The record of a batch, as JSON or CSV."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Response

from api.answers import Json
from api.batch_record import batch_record
from api.kitchen import Kitchen, KitchenHere
from api.trial import trial
from dashboards.record_rows import record_csv

router = APIRouter(prefix="/v1/batches", tags=["analysis"])


@router.get("/{batch_id}/record", summary="The whole account of a batch")
def read_record(
    batch_id: str, kitchen: KitchenHere, accept: Annotated[str, Header()] = ""
) -> Response:
    """As JSON, or as CSV where the Accept header asks for `text/csv`."""
    if "text/csv" in accept:
        return _csv(kitchen, batch_id)
    return Json(batch_record(kitchen, batch_id))


@router.get("/{batch_id}/record.json", summary="The record as JSON")
def read_record_json(batch_id: str, kitchen: KitchenHere) -> Response:
    """The batch, its instruments with a digest of their readings, all marks, and the analysis."""
    return Json(batch_record(kitchen, batch_id))


@router.get("/{batch_id}/record.csv", summary="The record as CSV")
def read_record_csv(batch_id: str, kitchen: KitchenHere) -> Response:
    """A row for each figure, mark, weighing, observation and caution."""
    return _csv(kitchen, batch_id)


@router.get("/{batch_id}/trial", summary="The trial form, fit to publish")
@router.get("/{batch_id}/trial.json", include_in_schema=False)
def read_trial(batch_id: str, kitchen: KitchenHere) -> Response:
    """Method and results with uncertainty; no names, site, prices, lots, notes, ids or day."""
    return Json(trial(kitchen, batch_id))


def _csv(kitchen: Kitchen, batch_id: str) -> Response:
    return Response(
        record_csv(batch_record(kitchen, batch_id)),
        media_type="text/csv; charset=utf-8; header=present",
        headers={"Content-Disposition": f'attachment; filename="record-{batch_id[:8]}.csv"'},
    )
