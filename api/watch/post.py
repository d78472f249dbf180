# SPDX-License-Identifier: MIT
"""Sends what waits, each route in its own order, until it is taken or a day has passed.

At least once: a message that was taken in the moment of a kill is sent again after the restart.
A route that doesn't answer holds up no other.
"""

from __future__ import annotations

import asyncio
import contextlib
import functools
import logging
from concurrent.futures import ThreadPoolExecutor

from api.kitchen import Kitchen
from api.times import format_ms
from api.watch.delivery import Sender
from api.watch.message import NOTICE, Message
from api.watch.notice_book import id_of
from api.watch.outbox import Outbox, RetryPlan, Waiting
from api.watch.route_book import RouteBook
from api.watch.sending import load
from api.watch.threads import finish
from api.watch.wording import late_note
from collector.log import say

_log = logging.getLogger(__name__)
_MOST_AT_ONCE = 16
_GRACE_S = 3.0
_AFTER_FAULT_S = 1.0


class Post:
    """The post of one kitchen."""

    def __init__(self, kitchen: Kitchen, *, plan: RetryPlan | None = None) -> None:
        """Take the kitchen.

        Args:
            kitchen: The open kitchen.
            plan: How a message is tried again.
        """
        self._kitchen = kitchen
        self._plan = plan or RetryPlan()
        self._outbox = Outbox(kitchen.journal)
        self._routes = RouteBook(kitchen.journal)
        self._sender = Sender(kitchen.data_dir, kitchen.config.notices.contact)
        self._woken = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._busy: dict[str, asyncio.Task[None]] = {}

    def wake(self) -> None:
        """Look at what waits now; may be called from any thread."""
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._woken.set)

    async def run(self) -> None:
        """Send until cancelled."""
        self._loop = asyncio.get_running_loop()
        with ThreadPoolExecutor(1, "post-book") as book:
            senders = ThreadPoolExecutor(_MOST_AT_ONCE, "post")
            try:
                await finish(book, self._prepare)
                while True:
                    self._woken.clear()
                    wait_s = await self._round(book, senders)
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(self._woken.wait(), wait_s)
            finally:
                if self._busy:
                    await asyncio.wait(self._busy.values(), timeout=_GRACE_S)
                for task in self._busy.values():
                    task.cancel()
                senders.shutdown(wait=False, cancel_futures=True)

    def _prepare(self) -> None:
        """Mend what a kill left, and load what sends, before the first message needs it."""
        try:
            mended = self._outbox.mend()
            if mended:
                say(_log, "records of sendings were mended", count=mended)
            if self._routes.routes():
                load()
        except Exception:  # whatever it is, the post has to go on
            _log.exception("the post could not be prepared")

    async def _round(self, book: ThreadPoolExecutor, senders: ThreadPoolExecutor) -> float | None:
        """Start what is due; return how long until the next is, None if nothing waits [s]."""
        try:
            heads = await finish(book, self._outbox.heads)
        except Exception:  # whatever it is, the post has to go on
            _log.exception("what waits could not be read")
            return _AFTER_FAULT_S
        now_ms = self._kitchen.now_ms()
        waits_ms: list[int] = []
        for head in heads:
            if head.route in self._busy:
                continue
            wait_ms = head.due_ms - now_ms
            if 0 < wait_ms <= self._plan.longest_ms:  # longer only if the clock was set back
                waits_ms.append(wait_ms)
                continue
            task = asyncio.create_task(self._deliver(head, book, senders), name="delivery")
            self._busy[head.route] = task
            task.add_done_callback(functools.partial(self._done, head.route))
        return min(waits_ms) / 1000.0 if waits_ms else None

    def _done(self, route: str, _task: asyncio.Task[None]) -> None:
        self._busy.pop(route, None)
        self._woken.set()

    async def _deliver(
        self, head: Waiting, book: ThreadPoolExecutor, senders: ThreadPoolExecutor
    ) -> None:
        try:
            outcome = await finish(senders, self._sender.send, head.address, self._message(head))
            if outcome.taken:
                await finish(book, self._outbox.sent, head, outcome.answer)
            elif outcome.gone:
                await finish(book, self._close, head, outcome.answer)
            elif self._kitchen.now_ms() - head.made_ms >= self._plan.give_up_ms:
                await finish(book, self._give_up, head, outcome.answer)
            else:
                pause_ms = await finish(book, self._outbox.failed, head, outcome.answer, self._plan)
                say(
                    _log,
                    "a notice was not taken",
                    level=logging.WARNING,
                    route=head.route,
                    tries=head.tries + 1,
                    next_try_in_s=pause_ms / 1000.0,
                    answer=outcome.answer,
                )
        except Exception:  # whatever it is, the other routes have to go on
            _log.exception("a sending could not be recorded")
            await asyncio.sleep(_AFTER_FAULT_S)

    def _message(self, head: Waiting) -> Message:
        place = self._kitchen.config.kitchen
        late = late_note(head.made_ms / 1000.0, self._kitchen.now_ms() / 1000.0, place.zone)
        return Message(
            NOTICE,
            id_of(head.cause),
            place.name,
            head.title,
            head.text + late,
            head.priority,
            format_ms(head.made_ms),
        )

    def _close(self, head: Waiting, answer: str) -> None:
        self._routes.is_gone(self._routes.route(head.route), answer)
        say(_log, "a route is gone", level=logging.ERROR, route=head.route, answer=answer)

    def _give_up(self, head: Waiting, answer: str) -> None:
        hours = self._plan.give_up_ms / 3_600_000
        said = f"given up after {hours:g} h and {head.tries + 1} tries; the last: {answer}"
        self._outbox.give_up(head, said)
        say(_log, "a notice was given up", level=logging.ERROR, route=head.route, answer=answer)
