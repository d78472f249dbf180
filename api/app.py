# SPDX-License-Identifier: MIT
"""The wiring of the API: one app over one open kitchen."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import AsyncIterator
from importlib.metadata import PackageNotFoundError, version

from fastapi import FastAPI
from sqlalchemy.exc import SQLAlchemyError

from api.access import Access, Gate, own_names, read_or_make_token
from api.analysis.outlook import Outlooks
from api.closing import seal_what_was_left
from api.hands_free.buttons import Buttons
from api.hands_free.offer_news import OfferNews
from api.hands_free.starting import Starting
from api.kitchen import Kitchen
from api.live.broadcast import Broadcast
from api.live.outlooks import OutlookNews
from api.problems import install
from api.proposals.service import Proposing
from api.routes import (
    access,
    alarms,
    analysis,
    batches,
    compare,
    deviations,
    health,
    instruments,
    lists,
    live,
    notices,
    offers,
    outlook,
    pages,
    paper,
    photos,
    plan,
    proposals,
    push,
    questions,
    readings,
    recipes,
    records,
    settings,
)
from api.watch.alarm_watch import AlarmWatch
from api.watch.alive import AliveLine
from api.watch.post import Post
from api.watch.sounders import Sounders
from api.watch.watch import Watch
from collector.errors import CurdwrightError
from collector.log import say

logger = logging.getLogger(__name__)
TIDY_EVERY_S = 3600.0
_log = logging.getLogger(__name__)

_ABOUT = """
Curdwright listens to probe thermometers and scales, and turns a batch of pressed plant curd into
numbers with their uncertainty. A mass or a temperature is `{"value","unit"}`; a time is RFC 3339
with an offset; a computed quantity is `{"value","unit","u","method","from"}`, or `{"status","why"}`
where it can't be shown. Every error has one form (RFC 9457).
"""


def program_version() -> str:
    """Return the version of the installed distribution."""
    try:
        return version("curdwright")
    except PackageNotFoundError:
        return "0+unknown"


def create_app(
    kitchen: Kitchen, *, host: str = "127.0.0.1", more_names: tuple[str, ...] = ()
) -> FastAPI:
    """Return the app over an open kitchen; it closes the kitchen when it ends.

    Args:
        kitchen: From `api.kitchen.open_kitchen`.
        host: The address that the server listens on.
        more_names: Other names by which this machine may be called.
    """
    app = FastAPI(
        title="Curdwright",
        version=program_version(),
        description=_ABOUT,
        lifespan=_lifespan,
        docs_url=None,
        redoc_url=None,
    )
    app.state.kitchen = kitchen
    app.state.host = host
    app.state.token = read_or_make_token(kitchen.data_dir / "token")
    app.state.pairing_gate = Gate(10, 60.0, time.monotonic)
    app.state.broadcast = Broadcast(kitchen.readings, kitchen.journal.chains, kitchen.now_ms)
    app.state.outlooks = Outlooks()
    app.state.outlook_news = OutlookNews(kitchen, app.state.broadcast, app.state.outlooks)
    app.state.post = Post(kitchen)
    app.state.sounders = Sounders(kitchen)
    app.state.watch = Watch(kitchen, app.state.post)
    app.state.alive = AliveLine(kitchen, app.state.watch.looked_s)
    app.state.alarms = AlarmWatch(kitchen, app.state.post)
    app.state.proposing = Proposing(kitchen)
    app.state.buttons = Buttons(kitchen, app.state.post)
    app.state.offer_news = OfferNews(kitchen, app.state.broadcast)
    app.state.starting = Starting(kitchen, app.state.proposing)
    install(app)
    for module in (
        *(readings, instruments, lists, recipes, batches, proposals, questions, offers),
        *(analysis, outlook, records, plan, compare, live, notices, alarms, push, health, access),
        *(settings, photos, deviations, paper),
    ):
        app.include_router(module.router)
    pages.mount(app)
    app.add_middleware(Access, token=app.state.token, names=own_names(host) | frozenset(more_names))
    return app


async def _tidy(kitchen: Kitchen) -> None:
    """Once an hour drop arrival numbers that nobody needs any more; readings stay."""
    while True:
        await asyncio.sleep(TIDY_EVERY_S)
        try:
            await asyncio.to_thread(kitchen.readings.trim_arrivals)
        except Exception:
            logger.exception("arrival numbers could not be trimmed; it is tried again")


@contextlib.asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    await asyncio.to_thread(_seal, app.state.kitchen)
    tasks = [
        asyncio.create_task(app.state.broadcast.follow(), name="broadcast"),
        asyncio.create_task(app.state.outlook_news.run(), name="outlooks"),
        asyncio.create_task(app.state.watch.run(), name="watch"),
        asyncio.create_task(app.state.alarms.run(), name="alarms"),
        asyncio.create_task(app.state.post.run(), name="post"),
        asyncio.create_task(app.state.sounders.run(), name="sounders"),
        asyncio.create_task(app.state.alive.run(), name="alive"),
        asyncio.create_task(app.state.proposing.run(), name="proposals"),
        asyncio.create_task(app.state.buttons.run(), name="buttons"),
        asyncio.create_task(app.state.offer_news.run(), name="offers"),
        asyncio.create_task(app.state.starting.run(), name="starting"),
        asyncio.create_task(_tidy(app.state.kitchen), name="tidy"),
    ]
    try:
        yield
    finally:
        app.state.broadcast.stopping.set()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await app.state.alive.say_stopped()
        app.state.kitchen.close()


def _seal(kitchen: Kitchen) -> None:
    """Seal what a kill left unsealed; records that can't be read must not keep the pages away."""
    try:
        count = seal_what_was_left(kitchen)
    except (CurdwrightError, SQLAlchemyError):
        _log.exception("batches that were ended could not be sealed")
        return
    if count:
        say(_log, "batches that were ended just before a stop are sealed", count=count)
