# SPDX-License-Identifier: MIT
"""Batches and what is recorded in them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from api import views
from api.answers import Json
from api.batch_search import Wanted, search
from api.cautions import cautions_of, refuse_unfit
from api.closing import close_batch
from api.entering import (
    binding_body,
    event_body,
    observation_body,
    resolve_batch,
    weighing_body,
)
from api.kitchen import Kitchen, KitchenHere
from api.records.batches import Kept, bound_by
from api.schemas import (
    BatchBody,
    BindingBody,
    EventBody,
    ObservationBody,
    WeighingBody,
    Withdrawable,
)
from api.times import format_ms

router = APIRouter(prefix="/v1/batches", tags=["batches"])


@router.post("", status_code=201, summary="Start or plan a batch")
def start_batch(body: BatchBody, kitchen: KitchenHere) -> Response:
    """A mass or a temperature is `{"value","unit"}`; thermometer and scale are series names."""
    resolved = resolve_batch(kitchen, body)
    refuse_unfit(resolved)
    batch = kitchen.journal.start_batch(
        resolved, record_id=str(body.id) if body.id else None, who=body.who or ""
    )
    return Json(_whole(kitchen, batch.id), 201)


@router.get("", summary="Batches, the latest first")
def list_batches(
    kitchen: KitchenHere,
    state: str | None = None,
    q: str | None = None,
    pot: str = "",
    recipe: str = "",
    outcome: str = "",
    after: str | None = None,
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> Response:
    """`state` may also be `open`; `q` looks in name, recipe, pot and ingredients.

    `pot` is a name, `recipe` an id; `outcome` is what was recorded last, or `none`.
    """
    wanted = Wanted(q or "", state or "", pot, recipe, outcome)
    found, following = search(kitchen, wanted, after=after, limit=limit)
    return Json({"batches": [views.batch_line(batch) for batch in found], "next": following})


@router.get("/{batch_id}", summary="One batch")
def read_batch(batch_id: str, kitchen: KitchenHere) -> Response:
    """What stands in it, its bindings, its cautions and the head of its chain of hashes."""
    return Json(_whole(kitchen, batch_id))


@router.get("/{batch_id}/events", summary="Its events")
def read_events(batch_id: str, kitchen: KitchenHere, history: bool = False) -> Response:
    """With `history=true` also what was replaced or withdrawn."""
    return Json({"events": _shown(kitchen, batch_id, "event", history)})


@router.get("/{batch_id}/weighings", summary="Its weighings")
def read_weighings(batch_id: str, kitchen: KitchenHere, history: bool = False) -> Response:
    """With `history=true` also what was replaced or withdrawn."""
    return Json({"weighings": _shown(kitchen, batch_id, "weighing", history)})


@router.get("/{batch_id}/observations", summary="Its observations")
def read_observations(batch_id: str, kitchen: KitchenHere, history: bool = False) -> Response:
    """With `history=true` also what was replaced or withdrawn."""
    return Json({"observations": _shown(kitchen, batch_id, "observation", history)})


@router.get("/{batch_id}/bindings", summary="Its bindings")
def read_bindings(batch_id: str, kitchen: KitchenHere) -> Response:
    """Which series told what of this batch, and when."""
    batch = kitchen.journal.batch(batch_id)
    return Json({"bindings": [views.binding(bound) for bound in batch.bindings]})


@router.post("/{batch_id}/events", status_code=201, summary="Mark an event")
def mark_event(batch_id: str, body: EventBody, kitchen: KitchenHere) -> Response:
    """Without `at` it is now. `replaces` corrects an earlier mark, `withdraws` takes one back."""
    if body.withdraws:
        return _withdraw(kitchen, batch_id, body)
    record, new = kitchen.journal.record(
        batch_id, "event", event_body(kitchen, body), record_id=_id(body), who=body.who or ""
    )
    if record.body["kind"] == "end":
        close_batch(kitchen, batch_id)
    return _answer(views.event(record), new)


@router.post("/{batch_id}/weighings", status_code=201, summary="Record a weighing")
def record_weighing(batch_id: str, body: WeighingBody, kitchen: KitchenHere) -> Response:
    """Parts of a stream are summed; `again` repeats the part before it."""
    if body.withdraws:
        return _withdraw(kitchen, batch_id, body)
    known = kitchen.journal.chains.find(_id(body) or "")
    resolved = (
        known.body if known else weighing_body(kitchen, kitchen.journal.batch(batch_id), body)
    )
    record, new = kitchen.journal.record(
        batch_id,
        "weighing",
        {**resolved, "said": body.said()},
        record_id=_id(body),
        who=body.who or "",
    )
    return _answer(views.weighing(record), new)


@router.post("/{batch_id}/bindings", status_code=201, summary="Bind a series to a place")
def bind_series(batch_id: str, body: BindingBody, kitchen: KitchenHere) -> Response:
    """A calculation uses only readings that are bound to its place."""
    if body.withdraws:
        return _withdraw(kitchen, batch_id, body)
    record, new = kitchen.journal.record(
        batch_id, "binding", binding_body(kitchen, body), record_id=_id(body), who=body.who or ""
    )
    batch = kitchen.journal.batch(batch_id)
    standing = (bound for bound in batch.bindings if bound.id == record.id)
    return _answer(views.binding(next(standing, bound_by(record))), new)


@router.post("/{batch_id}/observations", status_code=201, summary="Record an observation")
def record_observation(batch_id: str, body: ObservationBody, kitchen: KitchenHere) -> Response:
    """Something measured or seen by hand; it never fills a gap in a curve."""
    if body.withdraws:
        return _withdraw(kitchen, batch_id, body)
    record, new = kitchen.journal.record(
        batch_id,
        "observation",
        observation_body(kitchen, body),
        record_id=_id(body),
        who=body.who or "",
    )
    return _answer(views.observation(record), new)


def _id(body: Withdrawable) -> str | None:
    return str(body.id) if body.id else None


def _answer(shown: dict[str, Any], new: bool) -> Response:
    return Json(shown, 201 if new else 200)


def _withdraw(kitchen: Kitchen, batch_id: str, body: Withdrawable) -> Response:
    assert body.withdraws is not None
    record, new = kitchen.journal.withdraw(
        batch_id,
        body.withdraws,
        why=body.why,
        said=body.said(),
        record_id=_id(body),
        who=body.who or "",
    )
    shown = {
        "id": record.id,
        "withdraws": body.withdraws,
        "why": body.why,
        "recorded_at": format_ms(record.at_ms),
        "who": record.who,
    }
    return _answer(shown, new)


def _whole(kitchen: Kitchen, batch_id: str) -> dict[str, Any]:
    batch = kitchen.journal.batch(batch_id)
    length, head = kitchen.journal.chains.head(batch_id)
    return views.batch(
        batch, cautions=cautions_of(kitchen, batch), chain={"length": length, "head": head}
    )


def _shown(kitchen: Kitchen, batch_id: str, kind: str, history: bool) -> list[dict[str, Any]]:
    batch = kitchen.journal.batch(batch_id)
    standing: dict[str, list[Kept]] = {
        "event": list(batch.events),
        "weighing": list(batch.weighings),
        "observation": list(batch.observations),
    }
    records = standing[kind]
    if history:
        gone = [record for record in batch.gone if record.kind == kind]
        records = sorted([*records, *gone], key=lambda record: record.number)
    view = {"event": views.event, "weighing": views.weighing, "observation": views.observation}
    return [view[kind](record) for record in records]
