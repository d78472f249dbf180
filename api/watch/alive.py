# SPDX-License-Identifier: MIT
"""The dead-man line: tells a route every few minutes that the watch is alive.

Whoever listens there raises the alarm when the word fails to come. So it is said only while it is
true: the watch has looked at the readings, and the store has answered it, a moment ago. A word that
could not be sent is not kept for later, when it would say nothing about then.
"""

from __future__ import annotations

import asyncio
import functools
import logging
import time
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from api.kitchen import Kitchen
from api.times import format_ms, parse_ms
from api.watch.delivery import Sender
from api.watch.message import ALIVE, STOPPED, Message, Outcome
from api.watch.route_book import Route, RouteBook
from api.watch.threads import finish
from collector.log import say

_log = logging.getLogger(__name__)

BEAT_S = 1.0
_AFTER_FAULT_S = 5.0
_AGAIN_S = 30.0
_FRESH_S = 60.0
_STOP_S = 3.0
_MOST_AT_ONCE = 8


class AliveLine:
    """The dead-man lines of one kitchen."""

    def __init__(
        self, kitchen: Kitchen, looked_s: Callable[[], float], *, minute_s: float = 60.0
    ) -> None:
        """Take the kitchen.

        Args:
            kitchen: The open kitchen.
            looked_s: When the watch last looked without a fault, by the clock that is never set
                [s]; -inf before the first time.
            minute_s: How long a minute is; shorter in tests [s].
        """
        self._kitchen = kitchen
        self._looked_s = looked_s
        self._minute_s = minute_s
        self._routes = RouteBook(kitchen.journal)
        self._sender = Sender(kitchen.data_dir, kitchen.config.notices.contact)
        self._tried_s: dict[str, float] = {}
        self._taken: dict[str, bool] = {}
        self._busy: dict[str, asyncio.Task[None]] = {}
        self._silent = False

    async def run(self) -> None:
        """Tell until cancelled."""
        with ThreadPoolExecutor(1, "alive-book") as book:
            senders = ThreadPoolExecutor(_MOST_AT_ONCE, "alive")
            try:
                while True:
                    await asyncio.sleep(await self._turn(book, senders))
            finally:
                for task in self._busy.values():
                    task.cancel()
                senders.shutdown(wait=False, cancel_futures=True)

    async def _turn(self, book: ThreadPoolExecutor, senders: ThreadPoolExecutor) -> float:
        try:
            for route in await finish(book, self._routes.routes):
                if route.id in self._busy or not self._is_due(route):
                    continue
                self._tried_s[route.id] = time.monotonic()
                task = asyncio.create_task(self._tell(route, book, senders), name="alive")
                self._busy[route.id] = task
                task.add_done_callback(functools.partial(self._done, route.id))
        except Exception:  # whatever it is, the next word has to come
            _log.exception("the dead-man line stumbled")
            return _AFTER_FAULT_S * self._minute_s / 60.0
        return BEAT_S * self._minute_s / 60.0

    def _done(self, route_id: str, _task: asyncio.Task[None]) -> None:
        self._busy.pop(route_id, None)

    def _is_due(self, route: Route) -> bool:
        """Tell whether a route is to be told now; a watch that is stuck tells nobody."""
        if route.alive_every_min is None or route.gone:
            return False
        every_s = route.alive_every_min * self._minute_s
        if not self._is_alive(min(every_s, _FRESH_S)):
            return False
        tried_s = self._tried_s.get(route.id)
        if tried_s is not None:
            taken = self._taken.get(route.id, False)
            again_s = every_s if taken else min(every_s, _AGAIN_S * self._minute_s / 60.0)
            return time.monotonic() - tried_s >= again_s
        if route.alive_at is None:
            return True
        since_s = (self._kitchen.now_ms() - parse_ms(route.alive_at)) / 1000.0
        return since_s < 0 or since_s >= every_s  # before 0 the clock was set back

    def _is_alive(self, within_s: float) -> bool:
        alive = time.monotonic() - self._looked_s() <= within_s
        if not alive and not self._silent:
            say(_log, "the watch does not look: no route is told that it is alive",
                level=logging.ERROR)  # fmt: skip
        self._silent = not alive
        return alive

    async def _tell(
        self, route: Route, book: ThreadPoolExecutor, senders: ThreadPoolExecutor
    ) -> None:
        outcome = await finish(senders, self._sender.send, route.address, self._word(route))
        try:
            await finish(book, self._keep, route, outcome)
        except Exception:  # whatever it is, the next word has to come
            _log.exception("the answer to a word of the dead-man line could not be kept")

    def _word(self, route: Route) -> Message:
        place, at = self._kitchen.config.kitchen, format_ms(self._kitchen.now_ms())
        text = (
            f"{place.name}: the watch is alive. It says so every {route.alive_every_min} min; when "
            "it doesn't, nobody is told of the pots."
        )
        title = f"{place.name}: the watch is alive"
        return Message(ALIVE, str(uuid.uuid4()), place.name, title, text, "low", at)

    def _keep(self, route: Route, outcome: Outcome) -> None:
        if outcome.gone:
            self._routes.is_gone(route, outcome.answer)
        self._routes.told_alive(route.id, outcome)
        if self._taken.get(route.id) is outcome.taken:
            return
        self._taken[route.id] = outcome.taken
        said = {"route": route.id, "name": route.name, "answer": outcome.answer}
        self._kitchen.journal.keep("alive", {**said, "taken": outcome.taken})
        if not outcome.taken:
            say(_log, "a route could not be told that the watch is alive", level=logging.ERROR,
                route=route.id, answer=outcome.answer)  # fmt: skip

    async def say_stopped(self) -> None:
        """Tell the routes that want it that the watch is stopped on purpose; waits 3 s at most."""
        senders = ThreadPoolExecutor(_MOST_AT_ONCE, "stopped")
        try:
            routes = await asyncio.to_thread(self._routes.routes)
            wanted = [one for one in routes if one.tell_stop and not one.gone]
            if wanted:
                words = [finish(senders, self._stopped, one) for one in wanted]
                async with asyncio.timeout(_STOP_S):
                    await asyncio.gather(*words)
        except TimeoutError:
            say(_log, "not every route took it in time that the watch stops", level=logging.WARNING)
        except Exception:  # a stop must not fail for want of saying so
            _log.exception("that the watch stops could not be told")
        finally:
            senders.shutdown(wait=False, cancel_futures=True)

    def _stopped(self, route: Route) -> None:
        place, at = self._kitchen.config.kitchen, format_ms(self._kitchen.now_ms())
        text = (
            f"{place.name}: the watch was stopped on purpose. Nobody is told of the pots until it "
            "is started again."
        )
        title = f"{place.name}: the watch was stopped"
        message = Message(STOPPED, str(uuid.uuid4()), place.name, title, text, "medium", at)
        outcome = self._sender.send(route.address, message)
        said = {"route": route.id, "name": route.name, "answer": outcome.answer}
        self._kitchen.journal.keep("stopped", {**said, "taken": outcome.taken})
