# SPDX-License-Identifier: MIT
"""What the scripts of a page are told: ids, bindings, targets and bands; no words, no readings.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards.alarm_rows import signals
from dashboards.pictures import points_of
from dashboards.reader import Reader
from dashboards.steps import marks_of
from dashboards.stove_view import PROBE_PLACES, SCALE_PLACES, bound, target_words
from dashboards.svg_picture import usable

Json = Mapping[str, Any]


def stove(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the Stove's scripts are told."""
    return {
        **_common(data, reader),
        "batches": [_batch(item, reader) for item in data["batches"]],
        "alarms": signals(data.get("alarms") or []),
    }


def record(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the Record's scripts are told."""
    return {**_common(data, reader), "batches": [_batch(data, reader)], "alarms": []}


def _common(data: Json, reader: Reader) -> dict[str, Any]:
    return {
        "now": reader.now,
        "position": data.get("position") or "",
        "zone": reader.zone_name,
        "units": {"temperature": reader.units.temperature, "mass": reader.units.mass},
        "instruments": [_instrument(one) for one in data.get("instruments") or []],
    }


def _instrument(one: Json) -> dict[str, Any]:
    correction = one.get("correction") or {}
    return {
        "series": one["series"],
        "unit": one.get("unit"),
        "scale": correction.get("scale", 1.0),
        "offset": correction.get("offset", 0.0),
        "stale_after_s": one.get("stale_after_s"),
        "last_at": (one.get("last") or {}).get("time"),
    }


def _batch(item: Json, reader: Reader) -> dict[str, Any]:
    batch = item["batch"]
    marks = marks_of(batch)
    probe = bound(batch, PROBE_PLACES, reader.now)
    scale = bound(batch, SCALE_PLACES, reader.now)
    readings = (item.get("curve") or {}).get("readings") or []
    good = usable(points_of(item.get("curve")))
    return {
        "id": batch["id"],
        "name": batch.get("pot") or batch["name"],
        "probe": probe["series"] if probe else (item.get("curve") or {}).get("series"),
        "live": probe is not None,
        "last_degc": good[-1][1] if good and probe else None,
        "scale": scale["series"] if scale else None,
        "expected": marks.expected,
        "target": target_words(item, marks.expected, reader),
        "events": [
            {"id": event["id"], "kind": event["kind"], "at": event["at"]}
            for event in batch.get("events") or []
        ],
        "bands": list(item.get("bands") or []),
        "curve_from_ms": readings[0][0] if readings else None,
        "curve_to_ms": readings[-1][0] if readings else None,
    }
