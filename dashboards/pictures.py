# SPDX-License-Identifier: MIT
"""From the interface's objects to the picture of a batch's curve.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import times
from dashboards.reader import Reader
from dashboards.svg_picture import Band, Mark, Picture, Point

_NEAR_MS = 600_000.0


def batch_picture(
    item: Mapping[str, Any], reader: Reader, *, width: float = 960.0, height: float = 380.0
) -> Picture:
    """Return what the picture of a batch shows.

    Args:
        item: "batch", "curve", "targets" and "bands", as a page was given them.
        reader: Who reads it.
        width: [px]
        height: [px]
    """
    batch = item["batch"]
    targets = item.get("targets") or []
    points = points_of(item.get("curve"))
    return Picture(
        title=f"{batch['name']}: temperature",
        points=points,
        marks=_near(batch.get("events") or [], points),
        bands=[
            Band(
                band["hold"],
                band["verdict"],
                band.get("low"),
                band.get("high"),
                times.milliseconds(band["from"]),
                times.milliseconds(band["to"]),
            )
            for band in item.get("bands") or []
        ],
        target=targets[0]["value_degc"] if targets else None,
        units=reader.units,
        zone=reader.zone,
        width=width,
        height=height,
        key=f"curve-{batch['id']}",
    )


def points_of(readings: Mapping[str, Any] | None) -> Sequence[Point]:
    """Return the points of a curve as the interface gives it, its times in ms."""
    said = (readings or {}).get("readings") or []
    return [(float(time), value, str(quality)) for time, value, quality in said]


def _near(events: Sequence[Mapping[str, Any]], points: Sequence[Point]) -> list[Mark]:
    """Return the marks that lie near readings: a soak of last night would squash the curve."""
    if not points:
        return []
    first, last = points[0][0] - _NEAR_MS, points[-1][0] + _NEAR_MS
    marks = [Mark(times.milliseconds(event["at"]), event["kind"]) for event in events]
    return [mark for mark in marks if first <= mark.at_ms <= last]
