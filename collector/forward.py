# SPDX-License-Identifier: MIT
"""Ships committed readings from the kitchen's own file to a central engine, from a kept cursor.

The file stays the truth: a reading is read from it in the order of arrival, and the cursor trails
what was written by a minute or more. After every loss, and whenever the engine was begun anew, all
behind the cursor is sent again; the same reading sent twice is the same point to an engine. Nothing
here waits on the event loop, and nothing that goes wrong here reaches the collecting.

Imports the ground, the log and the shapes of the store.
"""

from __future__ import annotations

import asyncio
import logging
from bisect import bisect_right
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from dataclasses import asdict

from collector.clock import steady_ns
from collector.commit import Call
from collector.errors import EngineLostError
from collector.forward_lines import Lines, lines_of
from collector.forward_protocol import Engine, Tail, Total
from collector.forward_trail import TRAIL_S, Met, Trail
from collector.instruments.back_off import BackOff
from collector.log import say
from collector.readings import Reading
from collector.store.protocol import Arrived

CURSOR = "forward"
POLL_S = 1.0
LOOK_EVERY_S = 10.0
LONGEST_WAIT_S = 60.0
_TOO_LARGE = 413
_log = logging.getLogger(__name__)


class Forwarder:
    """One task of the collector: from the file to the engine, for ever.

    Attributes:
        total: What became of the readings so far.
    """

    def __init__(
        self,
        open_tail: Callable[[], Tail],
        open_engine: Callable[[], Engine],
        *,
        name: str,
        site: str | None = None,
        limit: int = 5000,
        now_s: Callable[[], float] = lambda: steady_ns() / 1e9,
    ) -> None:
        """Start with nothing sent and nothing opened.

        Args:
            open_tail: Opens the file that readings come from; called once, in the thread that
                steps. Its connection should be its own, since it is left open at the end: a
                request to an engine can outlast the collector.
            open_engine: Makes a connection; called anew after every loss.
            name: The engine's address, for the log.
            site: The tag that tells the sites apart.
            limit: How many readings one request carries at most.
            now_s: A clock that is never set [s].
        """
        self.total = Total()
        self._open_tail = open_tail
        self._open_engine = open_engine
        self._name = name
        self._site = site
        self._limit = limit
        self._now_s = now_s
        self._back_off = BackOff(1.0, LONGEST_WAIT_S)
        self._source: tuple[Tail, Trail] | None = None
        self._engine: Engine | None = None
        self._cursor = self._position = self._furthest = 0
        self._look_at_s = 0.0
        self._lost_at_s: float | None = None
        self._to_confirm = False
        self._unconfirmed: tuple[float, Reading] | None = None

    async def run(
        self, *, call: Call, pause: Callable[[float], Awaitable[None]] = asyncio.sleep
    ) -> None:
        """Ship readings until cancelled.

        Args:
            call: Calls a blocking function with one argument, always in the same thread.
            pause: Waits that many seconds.
        """
        try:
            while True:
                await pause(await call(Forwarder.step, self))
        finally:
            say(_log, "forwarding ended", engine=self._name, **asdict(self.total))

    def step(self) -> float:
        """Ship what fits into one request; never raises.

        Returns:
            How long to wait before the next step [s].
        """
        try:
            more = self._ship()
        except Exception as error:
            return self._failed(error)
        self._back_off.reset()
        if self._lost_at_s is not None:
            lost_s = round(self._now_s() - self._lost_at_s, 1)
            self._lost_at_s = None
            self._say("the central engine is back", lost_s=lost_s, **asdict(self.total))
        return 0.0 if more else POLL_S

    def _ship(self) -> bool:
        """Send the next readings; tell whether more wait."""
        tail, trail = self._source or self._take_place()
        engine = self._engine or self._connect(trail)
        if self._now_s() >= self._look_at_s:
            self._look(engine, tail, trail)
        found = tail.since(self._position, self._limit)
        if not found:
            return False
        lines = lines_of(found, self._site)
        too_old = engine.write(lines.body) if lines.count else 0
        now_s = self._now_s()
        trail.written(found[-1].arrival, now_s)
        self._count(found, lines, too_old)
        self._position = found[-1].arrival
        if self._to_confirm and lines.last is not None and not too_old:
            self._to_confirm, self._unconfirmed = False, (now_s, lines.last)
        return len(found) == self._limit

    def _take_place(self) -> tuple[Tail, Trail]:
        """Make sure that the cursor is kept, so that nothing behind it is trimmed away."""
        tail = self._open_tail()
        kept = self._cursor = tail.cursor(CURSOR)
        tail.set_cursor(CURSOR, kept)
        first = tail.since(kept, 1)
        trimmed = first[0].arrival - kept - 1 if first else 0
        self._say("forwarding", waiting=tail.last_arrival() - kept - trimmed)
        if trimmed:
            self._warn(
                "older readings are not forwarded: the order of their arrival is no longer kept",
                readings=trimmed,
            )
        self._source = (tail, Trail(kept))
        return self._source

    def _connect(self, trail: Trail) -> Engine:
        engine = self._open_engine()
        try:
            now_s = self._now_s()
            met = trail.meet(engine.run_id(), now_s, reconnected=True)
        except BaseException:
            engine.close()
            raise
        if met is Met.UNTOLD and self._lost_at_s is None:
            self._warn(
                "the central engine does not tell when it was begun: if it crashes and is back "
                "between two writes, its last seconds are not sent again"
            )
        self._engine = engine
        self._rewind(trail)
        return engine

    def _rewind(self, trail: Trail) -> None:
        self._position = trail.kept
        self._look_at_s = self._now_s() + LOOK_EVERY_S
        self._to_confirm, self._unconfirmed = True, None

    def _look(self, engine: Engine, tail: Tail, trail: Trail) -> None:
        """See whether the engine has run on, and move the cursor if it has."""
        now_s = self._now_s()
        self._look_at_s = now_s + LOOK_EVERY_S
        met = trail.meet(engine.run_id(), now_s, reconnected=False)
        if met is Met.ANEW:
            self._warn("the central engine was begun anew", again=self._position - trail.kept)
            self._rewind(trail)
            return
        if trail.kept != self._cursor:
            tail.set_cursor(CURSOR, trail.kept)
            self._cursor = trail.kept
        if self._unconfirmed is not None:
            self._confirm(engine, *self._unconfirmed)

    def _confirm(self, engine: Engine, written_s: float, reading: Reading) -> None:
        """Read one reading back, once for each connection: an acknowledgement is no proof."""
        shown = engine.shows(reading)
        if shown is False and self._now_s() - written_s < TRAIL_S:
            return  # an engine may take some seconds to show what it has
        self._unconfirmed = None
        if shown is False:
            self._warn(
                "the central engine does not show a reading that it acknowledged: check how long "
                "it keeps readings, and its clock",
                series=reading.series,
                time_ms=reading.time_ms,
            )

    def _count(self, found: Sequence[Arrived], lines: Lines, too_old: int) -> None:
        seen = bisect_right(found, self._furthest, key=lambda each: each.arrival)
        left_out = sum(arrival > self._furthest for arrival in lines.left_out)
        sent = len(found) - seen - left_out
        self.total.sent += sent
        self.total.sent_again += lines.count - sent
        self.total.left_out += left_out
        self.total.too_old += too_old
        self._furthest = max(self._furthest, found[-1].arrival)

    def _failed(self, error: Exception) -> float:
        """Let go of the connection; return how long to wait before the next step [s]."""
        engine, self._engine = self._engine, None
        if engine is not None:
            with suppress(Exception):
                engine.close()
        event, words = "forwarding failed", f"{type(error).__name__}: {error}"
        if isinstance(error, EngineLostError):
            if error.status == _TOO_LARGE and self._limit > 1:
                self._limit //= 2
                return 0.0
            event, words = "the central engine is lost", str(error)
        if self._lost_at_s is None:
            self._lost_at_s = self._now_s()
            self._warn(event, error=words)
        return self._back_off.next_s()

    def _warn(self, event: str, **fields: object) -> None:
        self._say(event, logging.WARNING, **fields)

    def _say(self, event: str, level: int = logging.INFO, **fields: object) -> None:
        say(_log, event, level=level, engine=self._name, **fields)
