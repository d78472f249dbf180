# SPDX-License-Identifier: MIT
"""What the live stream says of a reading and of a record. Pure."""

from __future__ import annotations

from typing import Any

from api.corrections import canonical_unit
from api.records.batches import BATCH_KINDS
from api.records.chain import KITCHEN, Entry
from api.times import format_ms
from collector.store.protocol import Arrived


def reading_data(item: Arrived) -> dict[str, Any]:
    """Return a reading as the instrument said it, with its arrival number."""
    reading = item.reading
    return {
        "series": reading.series,
        "time": format_ms(reading.time_ms),
        "value": reading.value,
        "unit": reading.unit,
        "canonical_unit": canonical_unit(reading.unit),
        "quality": reading.quality.word,
        "reason": reading.reason,
        "arrival": item.arrival,
    }


def entry_event(entry: Entry) -> tuple[str, dict[str, Any]] | None:
    """Return the event's name and data for a record, None if pages needn't hear of it."""
    if entry.kind == "alarm":
        return "alarm", _alarm(entry)
    if entry.chain == KITCHEN and entry.kind in ("question", "answer"):
        body = {key: value for key, value in entry.body.items() if key != "said"}
        return "question", {"id": body.get("question", entry.id), "record": entry.kind, **body}
    if entry.chain == KITCHEN:
        return None
    if entry.kind == "notice":
        if entry.body["about"] == "alarm":
            return None  # the record of the alarm itself tells it
        return "alarm", {
            "batch": entry.chain, "id": entry.id, "state": "unacknowledged", **entry.body,
        }  # fmt: skip
    if entry.kind == "acknowledgement":
        heard = {"id": entry.body["notice"], "state": "normal"}
        return "alarm", {"batch": entry.chain, **heard, "at": entry.at, "who": entry.who}
    if entry.kind in ("proposal", "dismissal"):
        return "proposal", _proposal(entry)
    if entry.kind not in BATCH_KINDS:
        return None
    body = {key: value for key, value in entry.body.items() if key != "said"}
    return "mark", {
        "batch": entry.chain,
        "id": entry.id,
        "record": entry.kind,
        "at": body.get("at", entry.at),
        "body": body,
    }


def _alarm(entry: Entry) -> dict[str, Any]:
    body = {key: value for key, value in entry.body.items() if key not in ("alarm", "said")}
    batch = None if entry.chain == KITCHEN else entry.chain
    return {"batch": batch, **body, "id": entry.body["alarm"], "who": entry.who}


def _proposal(entry: Entry) -> dict[str, Any]:
    """A page that hears of one asks for the batch's proposals to know how they stand now."""
    if entry.kind == "dismissal":
        what = {key: entry.body[key] for key in ("proposal", "offer") if key in entry.body}
        return {"batch": entry.chain, "n": what.get("proposal"), "state": "dismissed", **what}
    return {"batch": entry.chain, "id": entry.id, **entry.body}
