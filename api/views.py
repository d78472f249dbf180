# SPDX-License-Identifier: MIT
"""How records and results look in JSON; the pages are given the same objects."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api.batch_search import outcome_of
from api.process.money import MoneyResult
from api.process.money import shown as amount_shown
from api.process.quantities import NotShown, Quantity, Result
from api.records.batches import Batch, Binding, Kept
from api.records.chain import Entry
from api.times import format_ms

Json = dict[str, Any]


def quantity(result: Result | None) -> Json | None:
    """Return `{"value","unit","u","method","from"}`, or `{"status","why"}`."""
    if result is None:
        return None
    if isinstance(result, NotShown):
        return {"status": str(result.status), "why": result.why}
    assert isinstance(result, Quantity)
    return {
        "value": result.value,
        "unit": result.unit,
        "u": result.u,
        "method": result.method,
        "from": list(dict.fromkeys(result.sources)),
    }


def result(found: Result) -> Json:
    """Return the same of a result that is there to be shown."""
    return quantity(found) or {}


def money(found: MoneyResult) -> Json:
    """Return an amount with its currency as the unit, exact as `amount` and rounded as `shown`."""
    if isinstance(found, NotShown):
        return {"status": str(found.status), "why": found.why}
    return {
        "value": float(found.amount),
        "unit": found.currency,
        "u": found.u,
        "method": found.method,
        "from": list(dict.fromkeys(found.sources)),
        "amount": format(found.amount, "f"),
        "shown": amount_shown(found),
    }


def not_shown(why: str, status: str = "not shown") -> Json:
    """Return the form of a result that isn't there."""
    return {"status": status, "why": why}


def time_or_none(time_ms: float | None) -> str | None:
    """Return RFC 3339 in UTC, or None."""
    return None if time_ms is None else format_ms(time_ms)


def event(record: Kept) -> Json:
    """Return one event."""
    body = record.body
    shown = {
        "id": record.id,
        "kind": body["kind"],
        "at": format_ms(record.at_ms),
        "note": body.get("note"),
        "by": body.get("by", "person"),
    }
    for field in ("proposal", "confidence", "u_s", "accepted", "series"):
        if body.get(field) is not None:
            shown[field] = body[field]
    return _with_history(shown, record)


def weighing(record: Kept) -> Json:
    """Return one weighing, as it was said and as net mass [kg]."""
    body = record.body
    return _with_history(
        {
            "id": record.id,
            "by": body.get("by", "person"),
            "stream": body["stream"],
            "at": format_ms(record.at_ms),
            "mass": body["mass"],
            "net_kg": body["net_kg"],
            "u_kg": body["u_kg"],
            "u_from": body["u_from"],
            "as": body["as"],
            "basis": body["basis"],
            "tare": body.get("tare"),
            "from_scale": body.get("from_scale"),
            "note": body.get("note"),
        },
        record,
    )


def observation(record: Kept) -> Json:
    """Return one observation."""
    body = record.body
    fields = ("quantity", "value", "unit", "u", "text", "of")
    shown = {"id": record.id, "at": format_ms(record.at_ms), **{f: body.get(f) for f in fields}}
    for optional in ("nitrogen_factor", "attribute", "scale", "photo", "of_record"):
        if body.get(optional) is not None:
            shown[optional] = body[optional]
    return _with_history(shown, record)


def binding(bound: Binding) -> Json:
    """Return one binding."""
    return {
        "id": bound.id,
        "series": bound.series,
        "place": bound.place,
        "from": time_or_none(bound.from_ms),
        "to": time_or_none(bound.to_ms),
    }


def batch(kept: Batch, *, cautions: Sequence[Json] = (), chain: Json | None = None) -> Json:
    """Return one batch with what stands in it."""
    body = kept.body
    return {
        "id": kept.id,
        "name": kept.name,
        "state": kept.state,
        "started_at": format_ms(kept.started_ms),
        "ended_at": time_or_none(kept.ended_ms),
        "by": body.get("by", "person"),
        "start_moved": kept.started_ms != kept.said_start_ms,
        "pot": body.get("pot"),
        "thermometer": body.get("thermometer"),
        "scale": body.get("scale"),
        "target": body.get("target"),
        "recipe": body.get("recipe"),
        "ingredients": body.get("ingredients") or [],
        "coagulant": body.get("coagulant"),
        "nominal_block": body.get("nominal_block"),
        "self_set": body.get("self_set"),
        "note": body.get("note"),
        "bindings": [binding(bound) for bound in kept.bindings],
        "events": [event(record) for record in kept.events],
        "cautions": list(cautions),
        "chain": chain,
    }


def batch_line(kept: Batch) -> Json:
    """Return what a list of batches shows of one."""
    outcome = outcome_of(kept)
    recipe = kept.recipe
    return {
        "id": kept.id,
        "name": kept.name,
        "state": kept.state,
        "started_at": format_ms(kept.started_ms),
        "ended_at": time_or_none(kept.ended_ms),
        "pot": kept.body.get("pot"),
        "recipe": {"id": recipe["id"], "version": recipe["version"], "name": recipe["name"]}
        if recipe
        else None,
        "ingredients": kept.body.get("ingredients") or [],
        "outcome": outcome,
    }


def listed(entry: Entry) -> Json:
    """Return an entry of one of the kitchen's lists."""
    said: Mapping[str, Any] = entry.body
    return {"id": entry.id, "recorded_at": entry.at, "who": entry.who, **said}


def _with_history(shown: Json, record: Kept) -> Json:
    shown["recorded_at"] = record.recorded_at
    shown["who"] = record.who
    if record.body.get("replaces"):
        shown["replaces"] = record.body["replaces"]
    if record.gone:
        shown["gone"] = record.gone
    if record.body.get("sent"):
        shown["sent"] = record.body["sent"]
    return shown
