# SPDX-License-Identifier: MIT
"""Web Push: the kitchen's public key, the subscriptions of browsers, and their service worker."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.responses import FileResponse

from api.access import is_local
from api.answers import Json
from api.kitchen import KitchenHere
from api.notice_schemas import PushBody
from api.problems import ProblemError
from api.routes.notices import route_json
from api.watch.push_keys import public_text, read_or_make_key
from api.watch.route_book import RouteBook
from api.watch.subscription import Subscription, checked, is_push, to_address
from dashboards.assets import static_folder

router = APIRouter(tags=["notices"])


@router.get("/v1/notices/push", summary="The key that a browser subscribes with")
def push_key(kitchen: KitchenHere) -> Response:
    """The public half of the kitchen's own key, made at first use."""
    return Json({"key": public_text(read_or_make_key(kitchen.data_dir))})


@router.post("/v1/notices/push", status_code=201, summary="Call this browser, or no longer")
def subscribe(body: PushBody, request: Request, kitchen: KitchenHere) -> Response:
    """A browser's subscription becomes a route; a paired device may add and take back its own.

    The same subscription again answers the first. A route whose push service says that it is gone
    stays in the list with that reason until it is taken back.
    """
    book = RouteBook(kitchen.journal)
    who = body.who or ""
    if body.withdraws:
        if not is_push(book.route(body.withdraws).address):
            raise ProblemError(
                403,
                "Only a browser's own route is taken back here.",
                where=request.url.path,
                do="Take other routes back with POST /v1/notices/routes, on the machine itself.",
            )
        gone = book.remove_route(body.withdraws, who=who)
        return Json({"withdraws": gone.id, "name": gone.name})
    assert body.name is not None and body.endpoint is not None and body.keys is not None
    expires = body.expiration_time
    subscription = checked(
        Subscription(
            body.endpoint,
            body.keys.p256dh,
            body.keys.auth,
            int(expires) if expires is not None else None,
            public_text(read_or_make_key(kitchen.data_dir)),
        ),
        local=is_local(request.scope),
    )
    address = to_address(subscription)
    known = next((route for route in book.routes() if route.address == address), None)
    if known is not None and not known.gone:
        return Json(route_json(known), 200)
    if known is not None:
        book.remove_route(known.id, who=who)
    route_id = str(body.id) if body.id else None
    made, new = book.add_route(body.name, address, route_id=route_id, who=who)
    return Json(route_json(book.route(made)), 201 if new else 200)


@router.get("/push_worker.js", include_in_schema=False)
def worker() -> Response:
    """The service worker, from the root, so that its scope is the whole site."""
    return FileResponse(
        static_folder() / "js" / "push_worker.js",
        media_type="text/javascript",
        headers={"Cache-Control": "no-cache", "X-Content-Type-Options": "nosniff"},
    )
