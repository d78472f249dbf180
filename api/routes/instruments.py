# SPDX-License-Identifier: MIT
"""Instruments, which appear at their first reading, and their checks."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from api import views
from api.answers import Json
from api.check_draft import check_draft
from api.check_history import check_history
from api.checking import check_body
from api.corrections import STALE_AFTER_S, Corrections, canonical_unit
from api.instrument_schemas import CheckBody, InstrumentBody
from api.kitchen import Kitchen, KitchenHere
from api.schemas import Measure
from api.times import format_ms
from collector.errors import RecordError, UnknownRecordError
from collector.store.protocol import SeriesInfo
from collector.units import difference_to_kelvin, kind_of, to_canonical

router = APIRouter(prefix="/v1/instruments", tags=["instruments"])


@router.get("", summary="Every instrument with its latest reading")
def list_instruments(kitchen: KitchenHere) -> Response:
    """An instrument appears by itself at its first reading."""
    return Json({"instruments": instruments(kitchen), "now": format_ms(kitchen.now_ms())})


def instruments(kitchen: Kitchen) -> list[dict[str, Any]]:
    """Return every instrument as JSON, by name."""
    corrections = Corrections(kitchen.journal)
    return [_instrument(kitchen, corrections, info) for info in kitchen.readings.series()]


@router.put("", summary="Say what is known of an instrument")
def put_instrument(body: InstrumentBody, kitchen: KitchenHere) -> Response:
    """Its display step, its standard uncertainty, when it counts as silent."""
    fields: dict[str, Any] = {"series": body.series, "said": body.said()}
    for name in ("name", "kind", "note"):
        if (value := getattr(body, name)) is not None:
            fields[name] = value
    for name, measure in (("display_step", body.display_step), ("u", body.u)):
        if measure is not None:
            fields[name] = measure.model_dump()
            fields[f"{name}_canonical"] = _difference(measure.value, measure.unit)
    for name, measure in (("stale_after", body.stale_after), ("check_every", body.check_every)):
        if measure is not None:
            fields[f"{name}_s"] = _duration(name, measure, body.series)
    entry = kitchen.journal.keep(
        "instrument", fields, record_id=str(body.id) if body.id else None, who=body.who or ""
    )
    return Json(views.listed(entry))


@router.post("/{series:path}/checks/draft", summary="What a check would say, without recording it")
def draft_check(series: str, body: CheckBody, kitchen: KitchenHere) -> Response:
    """Its arithmetic number by number, and the correction before and after it."""
    return Json(check_draft(kitchen, series, body))


@router.post("/{series:path}/checks", status_code=201, summary="Record a check")
def record_check(series: str, body: CheckBody, kitchen: KitchenHere) -> Response:
    """An ice, boil or weight check corrects readings; a dip check gives the probe's lag."""
    if body.withdraws:
        known = {check.id for check in Corrections(kitchen.journal).checks(series)}
        if body.withdraws not in known:
            raise UnknownRecordError(
                f"There is no check {body.withdraws!r} to take back.",
                where=series,
                do="Look at GET /v1/instruments/{series}/checks.",
            )
        fields = {"withdraws": body.withdraws, "why": body.why or "", "said": body.said()}
        kind = "withdrawal"
    else:
        fields, kind = check_body(kitchen, series, body), "check"
    entry = kitchen.journal.keep(
        kind, fields, record_id=str(body.id) if body.id else None, who=body.who or ""
    )
    return Json(views.listed(entry), 201)


@router.get("/{series:path}/checks", summary="The checks of an instrument")
def read_checks(series: str, kitchen: KitchenHere, history: bool = False) -> Response:
    """Those that stand, as recorded; with `history=true` all, the latest first, also those gone."""
    if history:
        return Json({"checks": check_history(kitchen).get(series, [])})
    checks = Corrections(kitchen.journal).checks(series)
    return Json({"checks": [{"id": c.id, "recorded_at": c.made_at, **c.body} for c in checks]})


def _instrument(kitchen: Kitchen, corrections: Corrections, info: SeriesInfo) -> dict[str, Any]:
    known = corrections.known(info.name)
    last = info.last
    correction = corrections.at(info.name, info.unit, last.time_ms if last else 0)
    kind = {"temperature": "thermometer", "mass": "scale"}.get(kind_of(info.unit) or "", "other")
    shown: dict[str, Any] = {
        "series": info.name,
        "name": known.get("name") or info.name,
        "kind": known.get("kind") or kind,
        "unit": info.unit,
        "first_at": format_ms(info.first_ms),
        "stale_after_s": known.get("stale_after_s", STALE_AFTER_S),
        "display_step": known.get("display_step"),
        "u": known.get("u"),
        "check_every_s": known.get("check_every_s"),
        "note": known.get("note"),
        "checks": len(corrections.checks(info.name)),
        "correction": {
            "method": correction.method,
            "scale": correction.scale,
            "offset": correction.offset,
            "u": correction.u,
            "unit": canonical_unit(info.unit),
            "time_constant_s": correction.time_constant_s,
            "from": list(correction.sources),
        },
    }
    if last is not None:
        age_s = (kitchen.now_ms() - last.time_ms) / 1000.0
        shown["last"] = {
            "time": format_ms(last.time_ms),
            "value": last.value,
            "unit": last.unit,
            "quality": last.quality.word,
            "reason": last.reason,
            "age_s": age_s,
            "stale": age_s > float(shown["stale_after_s"]),
        }
    return shown


def _duration(name: str, measure: Measure, series: str) -> float:
    duration_s = to_canonical(measure.value, measure.unit, "duration")
    if not duration_s > 0.0:
        raise RecordError(
            f"{name} is {duration_s:g} s.", where=series, do="Give a time above 0, or leave it out."
        )
    return duration_s


def _difference(value: float, unit: str) -> float:
    if kind_of(unit) == "temperature":
        return difference_to_kelvin(value, unit)
    return to_canonical(value, unit, "mass")
