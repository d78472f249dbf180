# SPDX-License-Identifier: MIT
"""Deviations of a batch with what was done about them, and who reviewed its record."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from api.analysis.whole import analysis
from api.answers import Json
from api.deviation_schemas import DeviationBody, ReviewBody
from api.deviations import deviations_of, record_json, reviews_of
from api.entering import resolve_time
from api.kitchen import Kitchen, KitchenHere
from api.schemas import Withdrawable

router = APIRouter(prefix="/v1/batches", tags=["batches"])


@router.get("/{batch_id}/deviations", summary="What went otherwise than planned")
def list_deviations(batch_id: str, kitchen: KitchenHere) -> Response:
    """Holds and rules that were not met, alarms, weighings that contradict, late marks, own notes.

    Each has `about`, by which an action is recorded.
    """
    batch = kitchen.journal.batch(batch_id)
    found = deviations_of(kitchen, batch, analysis(kitchen, batch_id))
    return Json({"deviations": found, "reviews": reviews_of(batch)})


@router.post("/{batch_id}/deviations", status_code=201, summary="Record an action or a deviation")
def record_deviation(batch_id: str, body: DeviationBody, kitchen: KitchenHere) -> Response:
    """`about` with `action`: what was done about one that was found; or a `text` of your own."""
    fields = {
        key: value
        for key, value in (("about", body.about), ("text", body.text), ("action", body.action),
                           ("replaces", body.replaces))
        if value
    }  # fmt: skip
    return _kept(kitchen, batch_id, "deviation", body, fields | _time(kitchen, body))


@router.post("/{batch_id}/reviews", status_code=201, summary="Say that the record was reviewed")
def record_review(batch_id: str, body: ReviewBody, kitchen: KitchenHere) -> Response:
    """By whom and when; a later change of the record is seen beside it."""
    fields = {"text": body.text} if body.text else {}
    return _kept(kitchen, batch_id, "review", body, fields | _time(kitchen, body))


def _time(kitchen: Kitchen, body: DeviationBody | ReviewBody) -> dict[str, Any]:
    return resolve_time(kitchen, body.at, body.sent_at)


def _kept(
    kitchen: Kitchen, batch_id: str, kind: str, body: Withdrawable, fields: dict[str, Any]
) -> Response:
    journal, record_id = kitchen.journal, str(body.id) if body.id else None
    if body.withdraws:
        record, new = journal.withdraw(
            batch_id, body.withdraws, why=body.why, said=body.said(), record_id=record_id,
            who=body.who or "",
        )  # fmt: skip
        return Json({"id": record.id, "withdraws": body.withdraws}, 201 if new else 200)
    record, new = journal.record(
        batch_id, kind, {**fields, "said": body.said()}, record_id=record_id, who=body.who or ""
    )
    return Json(record_json(record), 201 if new else 200)
