# SPDX-License-Identifier: MIT
"""Weighings that a scale offers: read, taken, dismissed."""

from __future__ import annotations

import uuid

from fastapi import APIRouter, Response
from pydantic import ConfigDict

from api import views
from api.answers import Json
from api.entering import weighing_body
from api.hands_free.offers import offer_json, offers_of, refuse_taken, the_offer
from api.kitchen import KitchenHere
from api.proposals.schemas import DismissBody
from api.schemas import Sent, Stream

router = APIRouter(prefix="/v1/batches", tags=["hands-free"])
_SPACE = uuid.UUID("c4c5c1d0-7f0b-4d43-8a4b-0b8fb4d2c3aa")


class TakeBody(Sent):
    """It is a weighing, of the stream that was offered or of another."""

    model_config = ConfigDict(json_schema_extra={"examples": [{}, {"stream": "soaked"}]})
    stream: Stream | None = None


@router.get("/{batch_id}/offers", summary="Weighings that a scale offers")
def read_offers(batch_id: str, kitchen: KitchenHere) -> Response:
    """What was put on a scale of the batch and lay still for 4 s, in the last 10 min.

    The scales are that under the pot and the pot's `bench`; the stream is what the next or the
    last step expects and nobody has weighed yet. What stood on the scale before is the tare.
    """
    batch = kitchen.journal.batch(batch_id)
    return Json({"offers": [offer_json(one) for one in offers_of(kitchen, batch)]})


@router.post("/{batch_id}/offers/{offer_id}/accept", status_code=201, summary="Take the weighing")
def take_offer(
    batch_id: str, offer_id: str, kitchen: KitchenHere, body: TakeBody | None = None
) -> Response:
    """Recorded as with `from_scale`, the last stable reading then; a repeat answers the same."""
    body = body or TakeBody()
    journal = kitchen.journal
    batch = journal.batch(batch_id)
    known = next((one for one in batch.weighings if one.id == offer_id), None)
    if known is not None:
        return Json(views.weighing(known), 200)
    offer = the_offer(kitchen, batch, offer_id)
    resolved = weighing_body(kitchen, batch, offer.weighing(body.stream))
    fields = {**resolved, "by": "scale", "said": {"offer": offer_id, "stream": body.stream}}
    record, new = journal.record(
        batch_id, "weighing", fields, record_id=offer_id, who=body.who or ""
    )
    return Json(views.weighing(record), 201 if new else 200)


@router.post("/{batch_id}/offers/{offer_id}/dismiss", status_code=201, summary="It is none")
def dismiss_offer(
    batch_id: str, offer_id: str, kitchen: KitchenHere, body: DismissBody | None = None
) -> Response:
    """It is not offered again; `{"withdraws": id}` with the answer's id offers it anew."""
    body = body or DismissBody()
    journal = kitchen.journal
    record_id = str(body.id) if body.id else None
    if body.withdraws:
        record, new = journal.withdraw(
            batch_id, body.withdraws, why=body.why, said=body.said(), record_id=record_id,
            who=body.who or "",
        )  # fmt: skip
        return Json({"id": record.id, "withdraws": body.withdraws}, 201 if new else 200)
    batch = journal.batch(batch_id)
    refuse_taken(batch, offer_id)
    known = [one for one in batch.dismissals if one.body.get("offer") == offer_id]
    if known:
        return Json({"id": known[0].id, "offer": offer_id, "why": known[0].body.get("why")}, 200)
    the_offer(kitchen, batch, offer_id)
    gone = [one for one in batch.gone if one.body.get("offer") == offer_id]
    made = record_id or str(uuid.uuid5(_SPACE, f"{offer_id}/{len(gone)}"))
    said = {"offer": offer_id, "said": body.said(), **({"why": body.why} if body.why else {})}
    record, new = journal.record(batch_id, "dismissal", said, record_id=made, who=body.who or "")
    shown = {"id": record.id, "offer": offer_id, "why": body.why}
    return Json(shown, 201 if new else 200)
