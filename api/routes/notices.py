# SPDX-License-Identifier: MIT
"""Notices and the routes they go by."""

from __future__ import annotations

import uuid
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response

from api.access import is_local
from api.answers import Json
from api.kitchen import KitchenHere
from api.notice_schemas import AliveBody
from api.problems import ProblemError
from api.schemas import RouteBody, Sent
from api.times import format_ms
from api.watch.addresses import masked
from api.watch.delivery import Sender, check_address
from api.watch.message import TEST, Message
from api.watch.notice_book import NoticeBook
from api.watch.route_book import Route, RouteBook
from api.watch.sounders import PREFIX, Sounders
from collector.errors import RecordConflictError

router = APIRouter(prefix="/v1", tags=["notices"])


def _sounders(request: Request) -> Sounders:
    sounders: Sounders = request.app.state.sounders
    return sounders


SoundersHere = Annotated[Sounders, Depends(_sounders)]
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
def list_routes(kitchen: KitchenHere, sounders: SoundersHere) -> Response:
    """Addresses hold secrets: only scheme and host are shown. Wired sounders are listed, too."""
    routes = [route_json(route) for route in RouteBook(kitchen.journal).routes()]
    return Json({"routes": [*routes, *sounders.listed()]})


@router.post("/notices/routes", status_code=201, summary="Add a route, or take one back")
def set_route(body: RouteBody, request: Request, kitchen: KitchenHere) -> Response:
    """From this machine only. The address is written as apprise takes it."""
    _local_only(request)
    if (body.withdraws or "").startswith(PREFIX):
        raise RecordConflictError(
            "A sounder is not taken back here.",
            where="withdraws",
            do="Take its [[sounder]] section out of curdwright.toml, and start again.",
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
def test_route(
    route_id: str, kitchen: KitchenHere, sounders: SoundersHere, body: Sent | None = None
) -> Response:
    """Answers what the service said; `proven_at` is empty again if it didn't take the message.

    A wired sounder is switched on for a second.
    """
    if route_id.startswith(PREFIX):
        heard = sounders.test(route_id)
        proven = next(one["proven_at"] for one in sounders.listed() if one["id"] == route_id)
        return Json({"taken": heard.taken, "answer": heard.answer, "proven_at": proven})
    book = RouteBook(kitchen.journal)
    route = book.route(route_id)
    name = kitchen.config.kitchen.name
    at = format_ms(kitchen.now_ms())
    text = f"A test from {name}: this route works. Sent {at}."
    message = Message(TEST, str(uuid.uuid4()), name, f"{name}: test", text, "medium", at)
    outcome = Sender(kitchen.data_dir, kitchen.config.notices.contact).send(route.address, message)
    proven_at = book.tested(route, outcome, who=(body.who if body else None) or "")
    return Json({"taken": outcome.taken, "answer": outcome.answer, "proven_at": proven_at})


@router.post("/notices/routes/{route_id}/alive", summary="Set the dead-man line of a route")
def set_alive(route_id: str, body: AliveBody, request: Request, kitchen: KitchenHere) -> Response:
    """From this machine only. `every_min` null ends it; silence itself then tells nothing."""
    _local_only(request)
    book = RouteBook(kitchen.journal)
    route = book.set_alive(route_id, body.every_min, tell_stop=body.tell_stop, who=body.who or "")
    return Json(route_json(route))


def _local_only(request: Request) -> None:
    if not is_local(request.scope):
        raise ProblemError(
            403,
            "Routes are set on the machine itself only.",
            where=request.url.path,
            do="Open the pages on the machine that Curdwright runs on, and set the route there.",
        )


def route_json(route: Route) -> dict[str, Any]:
    """Return a route without its secrets."""
    return {
        "id": route.id,
        "name": route.name,
        "address": masked(route.address),
        "proven_at": route.proven_at,
        "waiting": route.waiting,
        "alive_every_min": route.alive_every_min,
        "tell_stop": route.tell_stop,
        "alive_at": route.alive_at,
        "alive_answer": route.alive_answer,
        "gone": route.gone,
    }
