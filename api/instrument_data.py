# SPDX-License-Identifier: MIT
"""What the pages of the instruments are given: each with its health, its place, its checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from api import views
from api.check_draft import correction_json
from api.check_history import KINDS, check_history, checks_due
from api.checking import boiling_point
from api.corrections import Corrections, canonical_values
from api.kitchen import Kitchen
from api.page_data import position
from api.process.reading_health import reading_health
from api.records.batches import Batch
from api.records.chain import Entry
from api.routes.instruments import instruments
from api.routes.readings import curve_json
from api.times import format_ms, parse_ms
from collector.errors import UnknownRecordError
from collector.units import kind_of

Json = dict[str, Any]

HOUR_MS = 3_600_000
HOUR_POINTS = 240
PLACES = {
    "thermometer": ("milk", "pulp", "curd", "block_core", "chill_water", "room"),
    "scale": ("under_pot", "under_press"),
}
_MOST_OPEN = 40


def instruments_page(kitchen: Kitchen, saved: str) -> Json:
    """Return what the list of instruments shows.

    Args:
        kitchen: The open kitchen.
        saved: The series of which a check has just been recorded, "" for none.
    """
    where = position(kitchen)
    corrections = Corrections(kitchen.journal)
    history = check_history(kitchen)
    open_batches = kitchen.journal.batches(state="open", limit=_MOST_OPEN)
    pots = list(kitchen.journal.latest_by("pot", "name").values())
    shown = [
        {
            **_instrument(kitchen, corrections, one),
            "bound": _bound(open_batches, one["series"], kitchen.now_ms()),
            "at_pots": _at_pots(pots, one["series"]),
            "history": history.get(one["series"], []),
        }
        for one in instruments(kitchen)
    ]
    return {
        "position": where,
        "instruments": shown,
        "open_batches": [views.batch_line(batch) for batch in open_batches],
        "pots": [views.listed(pot) for pot in pots],
        "saved": saved if any(one["series"] == saved for one in shown) else "",
    }


def check_page(kitchen: Kitchen, series: str, kind: str) -> Json:
    """Return what the walk through a check shows.

    Args:
        kitchen: The open kitchen.
        series: The instrument's.
        kind: "ice", "boil", "dip" or "weight"; another gives the first that fits it.

    Raises:
        UnknownRecordError: There is no such instrument, or none of these checks fits it.
    """
    where = position(kitchen)
    found = {one["series"]: one for one in instruments(kitchen)}
    kinds = KINDS.get(found[series]["kind"], ()) if series in found else ()
    if not kinds:
        why = "has no check that is known here" if series in found else "has never said anything"
        raise UnknownRecordError(
            f"The instrument {series[:100]!r} {why}.",
            where="instruments",
            do="Choose one of the list at /instruments.",
        )
    stretch = kitchen.readings.stretch(series, kitchen.now_ms() - 60_000)
    return {
        "position": where,
        "instrument": found[series],
        "kinds": kinds,
        "kind": kind if kind in kinds else kinds[0],
        "boiling": views.result(boiling_point(kitchen.config)),
        "recent": [
            [int(at), None if not np.isfinite(value) else float(value), int(quality)]
            for at, value, quality in zip(
                stretch.time_ms, stretch.value, stretch.quality, strict=True
            )
        ],
    }


def _instrument(kitchen: Kitchen, corrections: Corrections, one: Json) -> Json:
    """Return an instrument with how it speaks and how its indications become values now."""
    series = one["series"]
    return {
        **one,
        **_hour(kitchen, corrections, series),
        "corrected": _corrected(corrections, one),
        "correction": correction_json(
            corrections.at(series, one["unit"], kitchen.now_ms()), one["unit"]
        ),
        "due": checks_due(kitchen, corrections, series, one["kind"]),
        "in_force": _in_force(kitchen, corrections, series),
        "places": PLACES.get(one["kind"], ()),
    }


def _at_pots(pots: Sequence[Entry], series: str) -> list[Json]:
    """Return the pots at which an instrument has its place, and as what."""
    return [
        {"pot": pot.body["name"], "as": key}
        for pot in pots
        for key in ("thermometer", "scale", "bench")
        if pot.body.get(key) == series
    ]


def _hour(kitchen: Kitchen, corrections: Corrections, series: str) -> Json:
    """Return how an instrument spoke in the last hour, and its curve."""
    now_ms = kitchen.now_ms()
    stretch = kitchen.readings.stretch(series, now_ms - HOUR_MS)
    found = reading_health(
        stretch.time_ms / 1000.0, stretch.quality, stretch.from_arrival, now_ms / 1000.0
    )
    counted = found.readings > 0
    return {
        "health": {
            "from": format_ms(now_ms - HOUR_MS),
            "readings": found.readings,
            "usual_interval_s": found.usual_interval_s if found.readings > 1 else None,
            "gaps": found.gaps,
            "longest_gap_s": found.longest_gap_s,
            "suspect_fraction": found.suspect_fraction if counted else None,
            "bad_fraction": found.bad_fraction if counted else None,
            "from_arrival_fraction": found.from_arrival_fraction if counted else None,
            "reasons": _reasons(stretch.reasons),
        },
        "curve": curve_json(stretch, corrections, points=HOUR_POINTS) if counted else None,
    }


def _corrected(corrections: Corrections, one: Json) -> float | None:
    """Return the last value in the canonical unit, corrected.

    None where nothing was said, or where it was said in a unit of another kind.
    """
    last = one.get("last") or {}
    if last.get("value") is None or kind_of(str(last["unit"])) != kind_of(one["unit"]):
        return None
    said = canonical_values(np.array([float(last["value"])]), str(last["unit"]))
    found = corrections.at(one["series"], str(last["unit"]), parse_ms(last["time"]))
    return float(found.apply(said)[0])


def _reasons(reasons: Mapping[int, str]) -> list[Json]:
    """Return why readings were not good, the most frequent reason first."""
    counts: dict[str, int] = {}
    for reason in reasons.values():
        counts[reason] = counts.get(reason, 0) + 1
    ranked = sorted(counts.items(), key=lambda one: -one[1])
    return [{"reason": reason, "count": count} for reason, count in ranked[:3]]


def _bound(batches: list[Batch], series: str, now_ms: int) -> list[Json]:
    return [
        {
            "id": binding.id,
            "batch": batch.id,
            "name": batch.name,
            "pot": batch.body.get("pot"),
            "place": binding.place,
            "from": views.time_or_none(binding.from_ms),
        }
        for batch in batches
        for binding in batch.bindings
        if binding.series == series and (binding.to_ms is None or binding.to_ms > now_ms)
    ]


def _in_force(kitchen: Kitchen, corrections: Corrections, series: str) -> list[Json]:
    """Return the checks that correct what is read now, by kind."""
    valid = {c.kind: c for c in corrections.checks(series) if c.covers(kitchen.now_ms())}
    return [
        {
            "id": check.id,
            "kind": kind,
            "at": check.body["at"],
            "valid_from": check.body["valid_from"],
            "valid_to": check.body.get("valid_to"),
        }
        for kind, check in valid.items()
    ]
