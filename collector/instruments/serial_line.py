# SPDX-License-Identifier: MIT
"""An instrument on a serial line: whole lines of it become readings.

Imports the ground, the frames and the thread that holds the port.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import AsyncGenerator, Callable, Sequence
from dataclasses import dataclass, field, replace

from collector.frames.line_buffer import Line, LineBuffer
from collector.frames.protocol import Decoder, unreadable
from collector.instruments.inbox import Inbox
from collector.instruments.line_state import LineState, Speech
from collector.instruments.port_fault import fault_of
from collector.instruments.port_reader import (
    Heard,
    LineSettings,
    Lost,
    Opened,
    PortEvent,
    PortReader,
    Quiet,
    Refused,
)
from collector.instruments.protocol import Clock, Delivery
from collector.log import say
from collector.readings import Quality, Reading

_LOOK_EVERY_S = 1.0
_JOIN_S = 1.0
_TERMINATOR_BYTES = 4  # the longest that the configuration takes
_CUT_OFF = "the line was cut off when the port was lost"
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class LineRules:
    """How bytes of a line become readings.

    Attributes:
        series: The series of what is decoded; other readings are of lines that couldn't be read.
        decoder: Makes readings of one line.
        terminator: The line end; None takes CR, LF and CR LF alike.
        ignore_first_s: For so long after opening, what comes is left out [s].
        patience_s: After so long without a valid line the log says so [s].
    """

    series: str
    decoder: Decoder
    terminator: bytes | None = None
    ignore_first_s: float = 0.0
    patience_s: float = 10.0


@dataclass(slots=True)
class _Counts:
    """Since the port was opened."""

    opened_s: float
    bytes: int = 0
    ignored_bytes: int = 0
    lines: int = 0
    readings: int = 0
    bad: int = 0


@dataclass(slots=True)
class _Absence:
    """Since the port was lost, or first tried."""

    since_s: float
    tries: int = 0
    said: set[str] = field(default_factory=set)


class SerialInstrument:
    """One port; it is opened again by itself for as long as it takes."""

    def __init__(
        self,
        settings: LineSettings,
        rules: LineRules,
        clock: Clock,
        *,
        steady_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Be ready to listen.

        Args:
            settings: How to open the port.
            rules: How bytes become readings.
            clock: Stamps what comes.
            steady_s: A clock that is never set [s].
        """
        self._settings = settings
        self._rules = rules
        self._clock = clock
        self._steady_s = steady_s
        self._buffer = LineBuffer(rules.terminator)
        self._tail = b""
        self._state: LineState | None = None
        self._counts = _Counts(steady_s())
        self._absence: _Absence | None = _Absence(steady_s())

    @property
    def name(self) -> str:
        """The port."""
        return self._settings.port

    async def deliveries(self) -> AsyncGenerator[Delivery, None]:
        """Yield what comes, until closed; a lost port is opened again."""
        inbox: Inbox[PortEvent] = Inbox(asyncio.get_running_loop())
        reader = PortReader(self._settings, inbox.put, self._clock)
        reader.start()
        try:
            while True:
                events = await _within(inbox, _LOOK_EVERY_S)
                readings = [r for event in events for r in self.met(event)]
                self._say_speech(self._steady_s())
                if readings:
                    yield Delivery(readings)
        finally:
            reader.stop()
            if not await asyncio.to_thread(reader.join, _JOIN_S):
                say(_log, "the port's thread hangs", level=logging.WARNING, port=self.name)

    def committed(self, receipts: Sequence[object]) -> None:
        """Nobody at the other end waits for it."""

    def met(self, event: PortEvent) -> list[Reading]:
        """Return the readings that an event of the port brings."""
        if isinstance(event, Heard):
            return self._heard(event)
        if isinstance(event, Quiet):
            return self._quiet()
        if isinstance(event, Lost):
            return self._lost(event)
        if isinstance(event, Opened):
            self._opened(event)
        else:
            self._refused(event)
        return []

    def _heard(self, event: Heard) -> list[Reading]:
        self._counts.bytes += len(event.data)
        if event.steady_s - self._counts.opened_s < self._rules.ignore_first_s:
            self._counts.ignored_bytes += len(event.data)
            return []
        self._tail = (self._tail + event.data)[-_TERMINATOR_BYTES:]
        readings = self._readings(self._buffer.feed(event.data), event.arrival_ms)
        valid = any(reading.series == self._rules.series for reading in readings)
        if self._state is not None:
            self._state.heard(len(event.data), event.steady_s, valid=valid)
        return readings

    def _quiet(self) -> list[Reading]:
        readings = self._readings(self._buffer.silence(), self._clock.now_ms())
        if self._tail and not self._tail.endswith(self._rules.terminator or (b"\r", b"\n")):
            # The rest of a line that was held up on its way ("…12.3", then "40 kg") would look
            # like a line of its own: what comes next counts only from the next line end on.
            self._buffer.reopened()
        return readings

    def _readings(self, lines: Sequence[Line], arrival_ms: int) -> list[Reading]:
        found: list[Reading] = []
        for line in lines:
            if line.fault:
                found += unreadable(self.name, line.fault, line.data, arrival_ms)
            else:
                found += self._decoded(line.data, arrival_ms)
        self._counts.lines += len(lines)
        self._counts.readings += len(found)
        self._counts.bad += sum(reading.quality is Quality.BAD for reading in found)
        return found

    def _decoded(self, data: bytes, arrival_ms: int) -> list[Reading]:
        try:
            return self._rules.decoder.decode(data, channel=self.name, arrival_ms=arrival_ms)
        except Exception as error:  # a decoder with a fault of its own costs no frame
            return unreadable(self.name, f"the decoder failed: {error!r}", data, arrival_ms)

    def _opened(self, event: Opened) -> None:
        absence = self._absence
        say(
            _log,
            "port opened" if absence is None or not absence.tries else "port opened again",
            port=self.name,
            absent_s=round(event.steady_s - absence.since_s, 1) if absence else 0.0,
            tries=absence.tries if absence else 0,
        )
        self._absence = None
        self._counts = _Counts(event.steady_s)
        self._state = LineState(self._rules.patience_s, event.steady_s)
        self._buffer.reopened()
        self._tail = b""

    def _lost(self, event: Lost) -> list[Reading]:
        now_s = self._steady_s()
        cut_off = [replace(line, fault=_CUT_OFF) for line in self._buffer.silence()]
        readings = self._readings(cut_off, self._clock.now_ms())
        say(
            _log,
            "port lost",
            level=logging.WARNING,
            port=self.name,
            error=str(event.error),
            open_s=round(now_s - self._counts.opened_s, 1),
            lines=self._counts.lines,
            readings=self._counts.readings,
            bad=self._counts.bad,
            bytes=self._counts.bytes,
            ignored_bytes=self._counts.ignored_bytes,
        )
        self._state = None
        self._absence = _Absence(now_s, tries=1)
        return readings

    def _refused(self, event: Refused) -> None:
        if self._absence is None:
            self._absence = _Absence(self._steady_s())
        self._absence.tries += 1
        fault = f"{type(event.error).__name__} {getattr(event.error, 'errno', None)}"
        if fault in self._absence.said:
            return
        self._absence.said.add(fault)
        told = fault_of(event.error, self.name)
        say(
            _log,
            "port can not be opened",
            level=logging.WARNING,
            port=self.name,
            error=told.what,
            do=told.do,
        )

    def _say_speech(self, now_s: float) -> None:
        speech = self._state.changed(now_s) if self._state is not None else None
        if self._state is None or speech is None:
            return
        if speech is Speech.UNREADABLE:
            say(
                _log,
                f"no valid line for {self._rules.patience_s:g} s",
                level=logging.WARNING,
                port=self.name,
                bytes=self._state.bytes_since_valid,
                do="Check baud rate, parity, terminator and pattern.",
            )
        elif speech is Speech.SILENT:
            say(_log, f"the line is silent for {self._rules.patience_s:g} s", port=self.name)
        else:
            say(_log, "valid lines again", port=self.name)


async def _within(inbox: Inbox[PortEvent], seconds: float) -> list[PortEvent]:
    """Return what has come within so many seconds, [] if nothing has."""
    try:
        async with asyncio.timeout(seconds):
            return await inbox.take()
    except TimeoutError:
        return []
