# SPDX-License-Identifier: MIT
"""The web pages: the same objects that the HTTP interface gives, handed to `dashboards.render`."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, FastAPI, Query, Request
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from api import page_data
from api.analysis.live_holds import LiveHolds
from api.batch_search import Wanted
from api.kitchen import KitchenHere
from api.proposals.service import Proposing
from api.routes import alarms_page, compare_page, instrument_pages, recipe_pages, setup_page
from api.routes.page_answer import page_answer
from api.trial import trial
from dashboards.assets import static_folder

router = APIRouter(include_in_schema=False)


class _OwnFiles(StaticFiles):
    """Our modules and style sheets: asked for anew each time, answered from the cache if equal."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        response.headers["Cache-Control"] = "no-cache"
        response.headers["X-Content-Type-Options"] = "nosniff"
        return response


def mount(app: FastAPI) -> None:
    """Add the pages and their files to an app."""
    app.state.live_holds = LiveHolds()
    own = (alarms_page, compare_page, instrument_pages, recipe_pages, setup_page)
    for one in (router, *(module.router for module in own)):
        app.include_router(one)
    app.mount("/static", _OwnFiles(directory=static_folder()), name="static")


@router.get("/")
def stove(request: Request, kitchen: KitchenHere) -> Response:
    """The live kitchen screen; the first look at a new kitchen is led to Set-up."""
    if led := setup_page.led_to_set_up(request, kitchen):
        return led
    live = page_data.Live(request.app.state.live_holds, request.app.state.outlooks)

    def data() -> dict[str, Any]:
        return page_data.stove(kitchen, request.scope, live, request.app.state.sounders.listed())

    return page_answer(request, kitchen, "stove", data)


@router.get("/batches")
def batches(
    request: Request,
    kitchen: KitchenHere,
    q: str = "",
    state: str = "",
    pot: str = "",
    recipe: str = "",
    outcome: str = "",
    after: str | None = None,
    limit: Annotated[int, Query(ge=1, le=200)] = 25,
) -> Response:
    """All batches, the latest first."""

    def data() -> dict[str, Any]:
        wanted = Wanted(q, state, pot, recipe, outcome)
        return page_data.batches(kitchen, wanted, after=after or None, limit=limit)

    return page_answer(request, kitchen, "batches", data)


@router.get("/batches/{batch_id}")
def record(batch_id: str, request: Request, kitchen: KitchenHere) -> Response:
    """Everything of one batch, as a page that prints."""
    proposing: Proposing = request.app.state.proposing

    def data() -> dict[str, Any]:
        return page_data.record(kitchen, batch_id, proposing.known(batch_id))

    return page_answer(request, kitchen, "record", data)


@router.get("/batches/{batch_id}/trial")
def trial_form(batch_id: str, request: Request, kitchen: KitchenHere) -> Response:
    """Method and results of a batch, fit to publish; nothing on it tells whose it is."""
    return page_answer(
        request,
        kitchen,
        "trial",
        lambda: {"kitchen": {"name": "Trial", "zone": "UTC"}, "trial": trial(kitchen, batch_id)},
    )


@router.get("/pair")
def pair(request: Request, kitchen: KitchenHere) -> Response:
    """Where a phone or a tablet is paired; it tells nothing of the kitchen."""
    return page_answer(request, kitchen, "pair", lambda: {"kitchen": {"name": "Curdwright"}})
