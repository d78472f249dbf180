# SPDX-License-Identifier: MIT
"""Sends what waits, each route in its own order, until it is taken or a day has passed.

At least once: a message that was taken in the moment of a kill is sent again after the restart.
A route that doesn't answer holds up no other.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from concurrent.futures import Future, ThreadPoolExecutor, wait

from api.kitchen import Kitchen
from api.times import format_ms
from api.watch.delivery import Sender
from api.watch.message import NOTICE, Message
from api.watch.notice_book import id_of
from api.watch.outbox import Outbox, RetryPlan, Waiting
from api.watch.route_book import RouteBook
from api.watch.sending import load
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
        self._woken = threading.Event()
        self._stopping = threading.Event()
        self._busy: dict[str, Future[None]] = {}

    def wake(self) -> None:
        """Look at what waits now; may be called from any thread."""
        self._woken.set()

    async def run(self) -> None:
        """Send until cancelled.

        The work is done by threads that wake each other, and not by way of the event loop: a notice
        would wait there behind every page that is being answered.
        """
        self._stopping.clear()
        with ThreadPoolExecutor(1, "post-book") as book:
            working = asyncio.get_running_loop().run_in_executor(book, self._work)
            try:
                await asyncio.shield(working)
            finally:
                self._stopping.set()
                self._woken.set()
                await asyncio.wait([working])

    def _work(self) -> None:
        senders = ThreadPoolExecutor(_MOST_AT_ONCE, "post")
        try:
            self._prepare()
            while not self._stopping.is_set():
                self._woken.clear()
                wait_s = self._round(senders)
                self._woken.wait(wait_s)
        finally:
            wait(self._busy.values(), timeout=_GRACE_S)
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

    def _round(self, senders: ThreadPoolExecutor) -> float | None:
        """Start what is due; return how long until the next is, None if nothing waits [s]."""
        self._busy = {route: task for route, task in self._busy.items() if not task.done()}
        busy = set(self._busy)  # before the look: what ends meanwhile wakes the next round
        try:
            heads = self._outbox.heads()
        except Exception:  # whatever it is, the post has to go on
            _log.exception("what waits could not be read")
            return _AFTER_FAULT_S
        now_ms = self._kitchen.now_ms()
        waits_ms: list[int] = []
        for head in heads:
            if head.route in busy:
                continue
            wait_ms = head.due_ms - now_ms
            if 0 < wait_ms <= self._plan.longest_ms:  # longer only if the clock was set back
                waits_ms.append(wait_ms)
                continue
            task = senders.submit(self._deliver, head)
            self._busy[head.route] = task
            task.add_done_callback(lambda _task: self._woken.set())
        return min(waits_ms) / 1000.0 if waits_ms else None

    def _deliver(self, head: Waiting) -> None:
        try:
            outcome = self._sender.send(head.address, self._message(head))
            if outcome.taken:
                self._outbox.sent(head, outcome.answer)
            elif outcome.gone:
                self._close(head, outcome.answer)
            elif self._kitchen.now_ms() - head.made_ms >= self._plan.give_up_ms:
                self._give_up(head, outcome.answer)
            else:
                pause_ms = self._outbox.failed(head, outcome.answer, self._plan)
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
            self._stopping.wait(_AFTER_FAULT_S)

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
