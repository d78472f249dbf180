# SPDX-License-Identifier: MIT
"""Follows the tail of the readings and the records, and hands each event to every listener once.

Each event is written to bytes once and shared. A listener that can't keep up gets only the newest
reading of each series, but every mark and alarm.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import Any

import orjson

from api.live.wording import entry_event, reading_data
from api.records.chain import Chains, Entry
from api.times import format_ms
from collector.store.protocol import Arrived, ReadingTail

POLL_S = 0.05
MOST_REPLAYED = 5000
MOST_WAITING = 2000
HEARTBEAT_S = 10.0


@dataclass(frozen=True, slots=True)
class Event:
    """One event, ready to be sent.

    Attributes:
        name: "reading", "mark", "alarm" …
        text: The bytes of the whole event.
        series: The series of a reading, "" otherwise.
        chain: The batch of a mark or an alarm, "" otherwise.
    """

    name: str
    text: bytes
    series: str = ""
    chain: str = ""


@dataclass(slots=True)
class Position:
    """How far a listener has come: arrival number and running record number."""

    arrival: int
    record: int

    def __str__(self) -> str:
        return f"r{self.arrival}.e{self.record}"


def parse_position(text: str | None) -> Position | None:
    """Return the position that an event id names, None if it names none."""
    if not text or not text.startswith("r") or ".e" not in text:
        return None
    arrival, _, record = text[1:].partition(".e")
    if not (arrival.isdigit() and record.isdigit()):
        return None
    return Position(int(arrival), int(record))


@dataclass(slots=True, eq=False)
class Listener:
    """One open stream with what waits for it."""

    wants: Callable[[Event], bool]
    waiting: deque[Event] = field(default_factory=deque)
    woken: asyncio.Event = field(default_factory=asyncio.Event)

    def offer(self, event: Event) -> None:
        """Add an event; if too many wait, keep the newest reading of each series only."""
        if not self.wants(event):
            return
        self.waiting.append(event)
        if len(self.waiting) > MOST_WAITING:
            newest = {e.series: e for e in self.waiting if e.name == "reading"}
            kept = [e for e in self.waiting if e.name != "reading" or newest[e.series] is e]
            self.waiting = deque(kept)
        self.woken.set()


class Broadcast:
    """One follower of the store for all open pages."""

    def __init__(self, tail: ReadingTail, chains: Chains, now_ms: Callable[[], int]) -> None:
        self._tail = tail
        self._chains = chains
        self._now_ms = now_ms
        self._listeners: set[Listener] = set()
        self.at = Position(0, 0)
        self.stopping = asyncio.Event()

    async def follow(self) -> None:
        """Follow until cancelled. Starts at the present end."""
        self.at = Position(
            await asyncio.to_thread(self._tail.last_arrival),
            await asyncio.to_thread(self._chains.last_number),
        )
        while True:
            if self._listeners:
                await self._look()
            else:
                end = Position(
                    await asyncio.to_thread(self._tail.last_arrival),
                    await asyncio.to_thread(self._chains.last_number),
                )
                # Whoever began to listen meanwhile is offered all that came after the old position.
                if not self._listeners:
                    self.at = end
            await asyncio.sleep(POLL_S)

    @property
    def has_listeners(self) -> bool:
        """Whether any page listens."""
        return bool(self._listeners)

    def tell(self, name: str, data: dict[str, Any], *, chain: str) -> None:
        """Offer every listener what is neither a reading nor a record; it is never replayed.

        Args:
            name: Of the event.
            data: What it says.
            chain: The batch that it is about.
        """
        event = Event(name, _written(name, None, data), chain=chain)
        for listener in self._listeners:
            listener.offer(event)

    async def _look(self) -> None:
        arrived, entries = await asyncio.to_thread(self._read, self.at, 1000)
        for event in self._events(arrived, entries, self.at):
            for listener in self._listeners:
                listener.offer(event)

    def _read(self, at: Position, limit: int) -> tuple[list[Arrived], list[Entry]]:
        return self._tail.since(at.arrival, limit), self._chains.since(at.record, limit)

    def _events(self, arrived: list[Arrived], entries: list[Entry], at: Position) -> list[Event]:
        """Return events in order, moving `at` along."""
        events: list[Event] = []
        for item in arrived:
            at.arrival = item.arrival
            reading = item.reading
            events.append(
                Event("reading", _written("reading", at, reading_data(item)), reading.series)
            )
        for entry in entries:
            at.record = entry.number
            if (said := entry_event(entry)) is not None:
                name, data = said
                events.append(Event(name, _written(name, at, data), chain=entry.chain))
        return events

    async def listen(
        self, wants: Callable[[Event], bool], resume: Position | None
    ) -> AsyncIterator[bytes]:
        """Yield the bytes of a stream, beginning after `resume` if it isn't too far back.

        Args:
            wants: Which events this listener is to get.
            resume: The last event that the page has seen, None for a new page.
        """
        listener = Listener(wants)
        self._listeners.add(listener)
        until = Position(self.at.arrival, self.at.record)  # what comes later is offered to it
        try:
            yield b"retry: 1000\n\n"
            yield self._heartbeat()
            if resume is not None:
                for event in await asyncio.to_thread(self._replay, resume, until):
                    if event.name == "reset" or wants(event):
                        yield event.text
            while not self.stopping.is_set():
                if listener.waiting:
                    yield listener.waiting.popleft().text
                    continue
                listener.woken.clear()
                if not await self._woken(listener):
                    yield self._heartbeat()
        finally:
            self._listeners.discard(listener)

    async def _woken(self, listener: Listener) -> bool:
        """Wait for an event or the end; False if it is time for a heartbeat."""
        waits = [
            asyncio.ensure_future(listener.woken.wait()),
            asyncio.ensure_future(self.stopping.wait()),
        ]
        try:
            done, _ = await asyncio.wait(
                waits, timeout=HEARTBEAT_S, return_when=asyncio.FIRST_COMPLETED
            )
        finally:
            for wait in waits:
                wait.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await asyncio.gather(*waits, return_exceptions=True)
        return bool(done)

    def _replay(self, resume: Position, until: Position) -> list[Event]:
        """Return what was missed up to a position; later events come by themselves."""
        arrived = [
            item
            for item in self._tail.since(resume.arrival, MOST_REPLAYED + 1)
            if item.arrival <= until.arrival
        ]
        entries = [e for e in self._chains.since(resume.record) if e.number <= until.record]
        # A page may be newer than the follower; one that is newer than the store is of another.
        ahead = (
            resume.arrival > self._tail.last_arrival() or resume.record > self._chains.last_number()
        )
        if len(arrived) > MOST_REPLAYED or ahead:
            return [Event("reset", _written("reset", until, {"why": "too much was missed"}))]
        return self._events(arrived, entries, Position(resume.arrival, resume.record))

    def _heartbeat(self) -> bytes:
        data = {"time": format_ms(self._now_ms())}
        return b"event: heartbeat\ndata: " + orjson.dumps(data) + b"\n\n"


def _written(name: str, at: Position | None, data: dict[str, Any]) -> bytes:
    head = f"id: {at}\n" if at is not None else ""
    return f"{head}event: {name}\ndata: ".encode() + orjson.dumps(data) + b"\n\n"
