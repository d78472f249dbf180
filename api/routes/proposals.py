# SPDX-License-Identifier: MIT
"""Marks that the detector suggests: read, accepted, dismissed."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response

from api import views
from api.answers import Json
from api.entering import resolve_time
from api.kitchen import KitchenHere
from api.proposals.schemas import AcceptBody, DismissBody, proposal_json
from api.proposals.service import Proposing

router = APIRouter(prefix="/v1/batches", tags=["proposals"])


def _proposing(request: Request) -> Proposing:
    service: Proposing = request.app.state.proposing
    return service


ProposingHere = Annotated[Proposing, Depends(_proposing)]


@router.get("/{batch_id}/proposals", summary="Marks that the readings suggest")
def read_proposals(batch_id: str, proposing: ProposingHere) -> Response:
    """From temperature and mass alone, with all that has arrived up to now.

    `kind` is a kind of event, or `target` (accepting it makes a note); `at` is when it happened
    with its standard uncertainty `u_s`; `seen_at` the reading at which it could first be said;
    `confidence` the share of such proposals that are right. `state` is `open`, `accepted`,
    `dismissed` or `already marked`; `event` the mark that stands for it. Numbers `n` never change.
    """
    return Json({"proposals": [proposal_json(one) for one in proposing.of(batch_id)]})


@router.post(
    "/{batch_id}/proposals/{n}/accept", status_code=201, summary="It was so: make the mark"
)
def accept_proposal(
    batch_id: str, n: int, proposing: ProposingHere, kitchen: KitchenHere,
    body: AcceptBody | None = None,
) -> Response:  # fmt: skip
    """The mark's source is the detector; it is undone like any other, by `withdraws`.

    The same call again answers the mark that stands (200). 409 where the maker has marked it.
    """
    body = body or AcceptBody()
    more: dict[str, Any] = {"accepted": "by a person"}
    if body.at is not None:
        more |= resolve_time(kitchen, body.at, body.sent_at)
    if body.note is not None:
        more["note"] = body.note
    record, new = proposing.accept(
        batch_id, n, body.said(), more, record_id=str(body.id) if body.id else None,
        who=body.who or "",
    )  # fmt: skip
    return Json(views.event(record), 201 if new else 200)


@router.post("/{batch_id}/proposals/{n}/dismiss", status_code=201, summary="It was not so")
def dismiss_proposal(
    batch_id: str, n: int, proposing: ProposingHere, kitchen: KitchenHere,
    body: DismissBody | None = None,
) -> Response:  # fmt: skip
    """It is not asked again. `{"withdraws": id}` with the dismissal's id opens it anew.

    The same call again answers the first (200).
    """
    body = body or DismissBody()
    record_id = str(body.id) if body.id else None
    if body.withdraws:
        _, new = kitchen.journal.withdraw(
            batch_id, body.withdraws, why=body.why, said=body.said(), record_id=record_id,
            who=body.who or "",
        )  # fmt: skip
    else:
        _, new = proposing.dismiss(
            batch_id, n, body.said(), body.why, record_id=record_id, who=body.who or ""
        )
    return Json(proposal_json(proposing.book.standing(batch_id, n)), 201 if new else 200)
