# SPDX-License-Identifier: MIT
"""Alarms: how they stand, what happened to them, how often they call, and what is said to them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from api.alarm_schemas import OutOfServiceBody, ShelveBody
from api.answers import Json
from api.entering import resolve_time
from api.kitchen import Kitchen, KitchenHere
from api.records.chain import KITCHEN, Entry
from api.schemas import Sent
from api.times import format_ms, format_s, parse_ms
from api.watch.alarm_book import AlarmBook, Said
from api.watch.alarm_fold import KeptAlarm
from api.watch.alarm_rate import DAY_S, FIGURES, PRIORITY_SHARES, PRIORITY_SOURCE, rate_of
from api.watch.alarm_state import Action, State
from api.watch.limit_kinds import KINDS, PRIORITIES

router = APIRouter(prefix="/v1/alarms", tags=["alarms"])

Limit = Annotated[int, Query(ge=1, le=1000)]
_URGENT = (
    State.UNACKNOWLEDGED, State.RETURNED, State.ACKNOWLEDGED, State.SHELVED, State.OUT_OF_SERVICE,
)  # fmt: skip


@router.get("", summary="Alarms that are open, by priority; or their whole history")
def list_alarms(
    kitchen: KitchenHere, batch: str | None = None, history: bool = False, limit: Limit = 200
) -> Response:
    """Open is what is in any state but normal and suppressed, in a batch that is open.

    With `history`, `alarms` holds all that were ever raised, the last first, and `changes` each
    change of their states, the last first.
    """
    now = format_ms(kitchen.now_ms())
    if not history:
        return Json({"alarms": open_alarms(kitchen, batch=batch)[:limit], "now": now})
    folded = AlarmBook(kitchen.journal).folded(batch=batch, closed=True)
    last_first = sorted(folded.alarms.values(), key=lambda one: one.number, reverse=True)
    changes = [change_json(entry, alarm) for entry, alarm in reversed(folded.changes[-limit:])]
    return Json(
        {"alarms": [alarm_json(a) for a in last_first[:limit]], "changes": changes, "now": now}
    )


@router.get("/rate", summary="How often alarms call, against published figures")
def alarm_rate(kitchen: KitchenHere) -> Response:
    """The figures are hints about the kitchen's limits; they decide nothing."""
    return Json(rate_json(kitchen))


@router.post("/{alarm_id}/acknowledge", summary="Acknowledge an alarm")
def acknowledge(alarm_id: str, kitchen: KitchenHere, body: Sent | None = None) -> Response:
    """The first who says so stands in the record; again changes nothing."""
    by = Said(who=(body.who if body else None) or "", said=body.said() if body else {})
    return Json(alarm_json(AlarmBook(kitchen.journal).acknowledge(alarm_id, by)))


@router.post("/{alarm_id}/shelve", summary="Put an alarm away for a time")
def shelve(alarm_id: str, body: ShelveBody, kitchen: KitchenHere) -> Response:
    """For at most 12 h, with the reason; then it comes back by itself."""
    if body.until is not None:
        until_s = parse_ms(resolve_time(kitchen, body.until, body.sent_at)["at"]) / 1000.0
    else:
        until_s = kitchen.now_ms() / 1000.0 + (body.for_s or 0.0)
    by = Said(who=body.who or "", said=body.said(), why=body.why, until_s=until_s)
    return Json(alarm_json(AlarmBook(kitchen.journal).shelve(alarm_id, by)))


@router.post("/{alarm_id}/unshelve", summary="Bring a shelved alarm back now")
def unshelve(alarm_id: str, kitchen: KitchenHere, body: Sent | None = None) -> Response:
    """If its condition holds it is to be acknowledged anew."""
    return _changed(kitchen, alarm_id, Action.UNSHELVED, body)


@router.post("/{alarm_id}/out-of-service", summary="Take an alarm out of service")
def take_out(alarm_id: str, body: OutOfServiceBody, kitchen: KitchenHere) -> Response:
    """It calls nobody until it is returned to service; the reason is kept."""
    return _changed(kitchen, alarm_id, Action.TAKEN_OUT, body, body.why)


@router.post("/{alarm_id}/return-to-service", summary="Return an alarm to service")
def put_back(alarm_id: str, kitchen: KitchenHere, body: Sent | None = None) -> Response:
    """If its condition holds it is to be acknowledged anew."""
    return _changed(kitchen, alarm_id, Action.PUT_BACK, body)


def _changed(
    kitchen: Kitchen, alarm_id: str, action: Action, body: Sent | None, why: str = ""
) -> Response:
    by = Said(who=(body.who if body else None) or "", said=body.said() if body else {}, why=why)
    return Json(alarm_json(AlarmBook(kitchen.journal).change(alarm_id, action, by)))


def open_alarms(kitchen: Kitchen, *, batch: str | None = None) -> list[dict[str, Any]]:
    """Return the alarms that are open: by priority, those to be acknowledged first."""
    found = AlarmBook(kitchen.journal).folded(batch=batch).alarms.values()
    standing = [alarm for alarm in found if alarm.status.state in _URGENT]
    return [alarm_json(alarm) for alarm in sorted(standing, key=_order)]


def _order(alarm: KeptAlarm) -> tuple[int, int, float]:
    status = alarm.status
    return (
        _URGENT.index(status.state),
        -PRIORITIES.index(alarm.priority),
        -(status.raised_s or 0.0),
    )


def alarm_json(alarm: KeptAlarm) -> dict[str, Any]:
    """Return an alarm with its state, and what it asks for."""
    facts, status, kind = alarm.facts, alarm.status, KINDS.get(alarm.about)
    heard, put = alarm.heard, alarm.put
    hidden = put is not None and status.state is not status.beneath
    return {
        "id": alarm.id,
        "batch": None if alarm.chain == KITCHEN else alarm.chain,
        "about": alarm.about,
        "title": facts.get("title", ""),
        "text": facts.get("text", ""),
        "at": _time(status.raised_s),
        "told_at": alarm.told_at,
        "state": str(status.state),
        "since": _time(status.since_s),
        "priority": alarm.priority,
        "value": facts.get("value"),
        "limit": facts.get("limit"),
        "unit": facts.get("unit"),
        "time_to_respond_s": facts.get("respond_s", kind.respond_s if kind else None),
        "respond": facts.get("respond", kind.respond if kind else ""),
        "caution": facts.get("caution", kind.caution if kind else ""),
        "acknowledged_at": heard.at if heard else None,
        "acknowledged_by": heard.who if heard else None,
        "shelved_until": _time(status.shelved_until_s),
        "why": put.body.get("why", "") if put is not None and hidden else "",
        "calls": status.calls,
        "from": list(facts.get("from") or ()),
    }


def change_json(entry: Entry, alarm: KeptAlarm) -> dict[str, Any]:
    """Return one change of an alarm's state, as it was recorded."""
    body = entry.body
    action = {"notice": Action.RAISED, "acknowledgement": Action.ACKNOWLEDGED}.get(entry.kind)
    return {
        "alarm": alarm.id,
        "batch": None if alarm.chain == KITCHEN else alarm.chain,
        "action": str(action or body["action"]),
        "state": str(alarm.status.state),
        "at": body.get("at") or entry.at,
        "recorded_at": entry.at,
        "who": entry.who,
        "why": body.get("why", ""),
        "until": body.get("until"),
        "title": alarm.facts.get("title", ""),
        "priority": alarm.priority,
    }


def rate_json(kitchen: Kitchen) -> dict[str, Any]:
    """Return how often alarms have called, beside the published figures."""
    now_ms = kitchen.now_ms()
    calls = AlarmBook(kitchen.journal).since(now_ms - round(DAY_S * 1000.0)).calls
    rate = rate_of(calls, now_ms / 1000.0)
    source, status = PRIORITY_SOURCE
    return {
        "now": format_ms(now_ms),
        "last_10_min": rate.last_10_min,
        "last_day": rate.last_day,
        "busiest_10_min": rate.busiest_10_min,
        "words": rate.words,
        "chattering": list(rate.chattering),
        "priorities": [
            {"priority": p, "share": rate.shares.get(p), "published": PRIORITY_SHARES[p]}
            for p in PRIORITIES
        ],
        "priorities_source": {"source": source, "status": status},
        "figures": [
            {"about": f.about, "value": f.value, "text": f.text, "source": f.source,
             "status": f.status}
            for f in FIGURES
        ],
    }  # fmt: skip


def _time(time_s: float | None) -> str | None:
    return None if time_s is None else format_s(time_s)
