# SPDX-License-Identifier: MIT
"""Notices, the routes they go by, and the alarms on the pages."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from api.access import is_local
from api.answers import Json
from api.kitchen import KitchenHere
from api.problems import ProblemError
from api.schemas import RouteBody, Sent
from api.times import format_ms
from api.watch.addresses import masked
from api.watch.notice_book import Alarm, NoticeBook
from api.watch.route_book import Route, RouteBook
from api.watch.sending import check_address, send

router = APIRouter(prefix="/v1", tags=["notices"])

Limit = Annotated[int, Query(ge=1, le=200)]


@router.get("/notices", summary="Notices, the latest first")
def list_notices(kitchen: KitchenHere, batch: str | None = None, limit: Limit = 50) -> Response:
    """What was told, by which routes it went, and what each service answered."""
    book = NoticeBook(kitchen.journal)
    notices = book.latest(limit, batch=batch)
    sendings = book.sendings([notice.body["cause"] for notice in notices])
    shown = [
        {
            "id": notice.id,
            "batch": notice.chain,
            **notice.body,
            "told_at": notice.at,
            "sendings": sendings[notice.body["cause"]],
        }
        for notice in notices
    ]
    return Json({"notices": shown, "routes": len(RouteBook(kitchen.journal).routes())})


@router.get("/notices/routes", summary="The routes by which notices go")
def list_routes(kitchen: KitchenHere) -> Response:
    """Addresses hold secrets: only scheme and host are shown."""
    return Json({"routes": [route_json(route) for route in RouteBook(kitchen.journal).routes()]})


@router.post("/notices/routes", status_code=201, summary="Add a route, or take one back")
def set_route(body: RouteBody, request: Request, kitchen: KitchenHere) -> Response:
    """From this machine only. The address is written as apprise takes it."""
    if not is_local(request.scope):
        raise ProblemError(
            403,
            "Routes are set on the machine itself only.",
            where=request.url.path,
            do="Open the pages on the machine that Curdwright runs on, and set the route there.",
        )
    book = RouteBook(kitchen.journal)
    who = body.who or ""
    if body.withdraws:
        gone = book.remove_route(body.withdraws, who=who)
        return Json({"withdraws": gone.id, "name": gone.name})
    assert body.name is not None and body.address is not None
    check_address(body.address)
    route_id = str(body.id) if body.id else None
    made, new = book.add_route(body.name, body.address, route_id=route_id, who=who)
    return Json(route_json(book.route(made)), 201 if new else 200)


@router.post("/notices/routes/{route_id}/test", summary="Send a test notice now")
def test_route(route_id: str, kitchen: KitchenHere, body: Sent | None = None) -> Response:
    """Answers what the service said; `proven_at` is empty again if it didn't take the message."""
    book = RouteBook(kitchen.journal)
    route = book.route(route_id)
    name = kitchen.config.kitchen.name
    at = format_ms(kitchen.now_ms())
    outcome = send(
        route.address, f"{name}: test", f"A test from {name}: this route works. Sent {at}."
    )
    proven_at = book.tested(route, outcome, who=(body.who if body else None) or "")
    return Json({"taken": outcome.taken, "answer": outcome.answer, "proven_at": proven_at})


@router.get("/alarms", tags=["alarms"], summary="Alarms, the latest first")
def list_alarms(kitchen: KitchenHere, batch: str | None = None, limit: Limit = 50) -> Response:
    """What was told, and whether somebody has said that they heard it."""
    alarms = NoticeBook(kitchen.journal).alarms(limit, batch=batch)
    return Json(
        {"alarms": [alarm_json(alarm) for alarm in alarms], "now": format_ms(kitchen.now_ms())}
    )


@router.post("/alarms/{alarm_id}/acknowledge", tags=["alarms"], summary="Acknowledge an alarm")
def acknowledge(alarm_id: str, kitchen: KitchenHere, body: Sent | None = None) -> Response:
    """The first who says so stands in the record; again changes nothing."""
    said = body.said() if body else {}
    who = (body.who if body else None) or ""
    return Json(alarm_json(NoticeBook(kitchen.journal).acknowledge(alarm_id, said, who)))


def route_json(route: Route) -> dict[str, Any]:
    """Return a route without its secrets."""
    return {
        "id": route.id,
        "name": route.name,
        "address": masked(route.address),
        "proven_at": route.proven_at,
        "waiting": route.waiting,
    }


def alarm_json(alarm: Alarm) -> dict[str, Any]:
    """Return an alarm with its state."""
    notice, heard = alarm.notice, alarm.acknowledged
    return {
        "id": notice.id,
        "batch": notice.chain,
        "title": notice.body["title"],
        "text": notice.body["text"],
        "at": notice.body["at"],
        "told_at": notice.at,
        "priority": notice.body["priority"],
        "state": "acknowledged" if heard else "unacknowledged",
        "acknowledged_at": heard.at if heard else None,
        "acknowledged_by": heard.who if heard else None,
    }
