# SPDX-License-Identifier: MIT
"""Readings of all instruments into the store: take what has come, commit, acknowledge.

No timer and no batch size to wait for: while one commit runs, the next readings gather. Imports
the ground, the protocols and the log.
"""

from __future__ import annotations

import asyncio
import datetime
import logging
from collections import deque
from collections.abc import Awaitable, Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from typing import Protocol, TypeVar

from collector.frames.names import as_series
from collector.instruments.back_off import BackOff
from collector.instruments.protocol import Delivery, Instrument
from collector.log import say
from collector.readings import Reading, bad_reading
from collector.store.protocol import Appended, ReadingStore

WAITING_LIMIT = 100_000
COMMIT_LIMIT = 10_000
PATIENCE_S = 1.0
_log = logging.getLogger(__name__)

A = TypeVar("A")
R = TypeVar("R")


class Call(Protocol):
    """Calls a blocking function with one argument, away from the event loop."""

    def __call__(self, function: Callable[[A], R], argument: A) -> Awaitable[R]:
        """Return what it returns."""
        ...


@dataclass(slots=True)
class _Lost:
    """Readings of one instrument that found no place while the store couldn't be written."""

    count: int
    first_ms: int
    last_ms: int


class Committer:
    """Takes deliveries, commits their readings in order and acknowledges them afterwards.

    While the store can't be written, readings wait in memory and nothing is acknowledged. Senders
    that wait for an acknowledgement stop by themselves; of the others, what goes beyond the limit
    is lost, counted, and said in the store once it can be written again.

    Attributes:
        total: What became of all readings so far.
    """

    def __init__(
        self,
        store: ReadingStore,
        *,
        call: Call,
        pause: Callable[[float], Awaitable[None]] = asyncio.sleep,
        waiting_limit: int = WAITING_LIMIT,
    ) -> None:
        """Start with nothing waiting.

        Args:
            store: Where readings are kept.
            call: Calls the store away from the event loop.
            pause: Waits that many seconds.
            waiting_limit: How many readings may wait in memory.
        """
        self.total = Appended(0, 0, 0, 0, 0, 0)
        self._store = store
        self._call = call
        self._pause = pause
        self._limit = waiting_limit
        self._queue: deque[tuple[Instrument, Delivery]] = deque()
        self._waiting = 0
        self._come = asyncio.Event()
        self._idle = asyncio.Event()
        self._idle.set()
        self._free = asyncio.Event()
        self._free.set()
        self._lost: dict[str, _Lost] = {}
        self._failing = False

    @property
    def waiting(self) -> int:
        """How many readings aren't committed yet."""
        return self._waiting

    @property
    def busy(self) -> bool:
        """Whether anything isn't committed and acknowledged yet."""
        return not self._idle.is_set()

    def take(self, instrument: Instrument, delivery: Delivery) -> None:
        """Add what has come; never waits."""
        count = len(delivery.readings)
        if delivery.receipt is None and self._waiting + count > self._limit:
            self._lose(instrument.name, delivery.readings)
            return
        self._waiting += count
        self._queue.append((instrument, delivery))
        self._idle.clear()
        if not self._failing:
            self._free.clear()
        self._come.set()

    async def idle(self) -> None:
        """Wait until everything is committed and acknowledged."""
        await self._idle.wait()

    async def free(self) -> None:
        """Wait, not for long, until what was taken is committed.

        Who asks for more only then gets all that has come meanwhile at one waking, which costs a
        tenth of being woken for each message. A store that fails or hangs is not waited for.
        """
        with suppress(TimeoutError):
            async with asyncio.timeout(PATIENCE_S):
                await self._free.wait()

    async def run(self) -> None:
        """Commit what comes, until cancelled."""
        while True:
            await self._come.wait()
            self._come.clear()
            while self._queue:
                batch = self._next_batch()
                readings = [reading for _, delivery in batch for reading in delivery.readings]
                if readings:
                    await self._keep(readings)
                self._waiting -= len(readings)
                _acknowledge(batch)
            self._idle.set()
            self._free.set()

    def _next_batch(self) -> list[tuple[Instrument, Delivery]]:
        batch: list[tuple[Instrument, Delivery]] = []
        count = 0
        while self._queue and count < COMMIT_LIMIT:
            batch.append(self._queue.popleft())
            count += len(batch[-1][1].readings)
        return batch

    async def _keep(self, readings: Sequence[Reading], *, last_resort: bool = False) -> None:
        """Commit readings, trying again for as long as it takes."""
        back_off = BackOff()
        while True:
            try:
                appended = await self._call(self._store.append, readings)
            except OSError as error:
                self._say_failing(error)
                await self._pause(back_off.next_s())
            except Exception as error:  # not the store: one of the readings can't be written
                await self._keep_the_others(readings, error, last_resort=last_resort)
                return
            else:
                self._count(appended)
                await self._recovered()
                return

    async def _keep_the_others(
        self, readings: Sequence[Reading], error: Exception, *, last_resort: bool
    ) -> None:
        if len(readings) > 1:
            half = len(readings) // 2
            await self._keep(readings[:half])
            await self._keep(readings[half:])
            return
        reading = readings[0]
        say(
            _log,
            "a reading could not be stored as it is",
            level=logging.ERROR,
            series=repr(reading.series),
            error=str(error),
        )
        if last_resort:
            say(_log, "a reading is lost", level=logging.ERROR, frame=repr(reading.frame))
            return
        substitute = bad_reading(
            as_series(reading.series),
            f"could not be stored: {type(error).__name__}",
            repr(reading).encode("ascii", "backslashreplace"),
            min(max(reading.arrival_ms, 0), 2**53),
        )
        await self._keep([substitute], last_resort=True)

    def _say_failing(self, error: OSError) -> None:
        if self._failing:
            return
        self._failing = True
        self._free.set()
        say(
            _log,
            "the store can not be written",
            level=logging.ERROR,
            error=str(error),
            waiting=self._waiting,
        )

    async def _recovered(self) -> None:
        if not self._failing:
            return
        self._failing = False
        lost, self._lost = self._lost, {}
        say(
            _log,
            "the store is written again",
            waiting=self._waiting,
            lost=sum(each.count for each in lost.values()),
        )
        if lost:
            await self._keep([_told(name, each) for name, each in lost.items()])

    def _lose(self, name: str, readings: Sequence[Reading]) -> None:
        if not readings:
            return
        found = self._lost.get(name)
        if found is None:
            say(_log, "readings are being lost", level=logging.ERROR, instrument=name)
            found = self._lost[name] = _Lost(0, readings[0].arrival_ms, 0)
        found.count += len(readings)
        found.last_ms = readings[-1].arrival_ms

    def _count(self, appended: Appended) -> None:
        sums = {
            field.name: getattr(self.total, field.name) + getattr(appended, field.name)
            for field in fields(Appended)
        }
        last = max(self.total.last_arrival, appended.last_arrival)
        self.total = Appended(**{**sums, "last_arrival": last})


def _told(name: str, lost: _Lost) -> Reading:
    first, last = (
        datetime.datetime.fromtimestamp(ms / 1000, datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        for ms in (lost.first_ms, lost.last_ms)
    )
    reason = (
        f"{lost.count} readings from {first} to {last} were lost: "
        "the store could not be written and the memory for them was full"
    )
    return replace(bad_reading(as_series(name), reason, b"", lost.last_ms), frame=None)


def _acknowledge(batch: Iterable[tuple[Instrument, Delivery]]) -> None:
    receipts: dict[int, tuple[Instrument, list[object]]] = {}
    for instrument, delivery in batch:
        if delivery.receipt is not None:
            receipts.setdefault(id(instrument), (instrument, []))[1].append(delivery.receipt)
    for instrument, of_instrument in receipts.values():
        try:
            instrument.committed(of_instrument)
        except Exception as error:  # it is kept; the sender will send it again
            say(
                _log,
                "an acknowledgement failed",
                level=logging.WARNING,
                instrument=instrument.name,
                error=str(error),
            )
