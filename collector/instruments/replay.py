# SPDX-License-Identifier: MIT
"""A file of readings, played again as if it came from an instrument.

Imports the ground and the frames; reads the file. The times stay those of the file, so that playing
it twice stores nothing twice; only the pace follows them. A CSV file has a header with `time` (RFC
3339, or `time_ms`) and `value`, and may have `series`, `unit`, `quality` and `reason`; any other
file is one SenML pack in JSON.
"""

from __future__ import annotations

import asyncio
import csv
import logging
import time
from collections.abc import AsyncGenerator, Awaitable, Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from collector.errors import FrameError
from collector.frames.instants import LATEST_MS, rfc3339_ms
from collector.frames.names import as_series, name_fault, shown
from collector.frames.number import parse_number, unit_symbol
from collector.frames.protocol import unreadable
from collector.frames.senml import SenmlDecoder
from collector.instruments.protocol import Clock, Delivery
from collector.log import say
from collector.readings import Quality, Reading, TimeSource

_TOGETHER = 500
_AHEAD = 8  # deliveries that may wait for their commit
_log = logging.getLogger(__name__)
_QUALITIES = {quality.word: quality for quality in Quality}


@dataclass(frozen=True, slots=True)
class ReplayFile:
    """What is played.

    Attributes:
        path: The file.
        series: The series of rows that name none.
        speed: How many times faster than it was recorded.
    """

    path: Path
    series: str | None = None
    speed: float = 1.0


class ReplayInstrument:
    """One file; its deliveries end with it."""

    def __init__(
        self,
        file: ReplayFile,
        clock: Clock,
        *,
        pause: Callable[[float], Awaitable[None]] = asyncio.sleep,
        steady_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Be ready to play.

        Args:
            file: What is played.
            clock: Stamps what comes.
            pause: Waits that many seconds.
            steady_s: A clock that is never set [s].
        """
        self._file = file
        self._clock = clock
        self._pause = pause
        self._steady_s = steady_s
        self._waiting = 0
        self._committed = asyncio.Event()

    @property
    def name(self) -> str:
        """The file's path."""
        return str(self._file.path)

    async def deliveries(self) -> AsyncGenerator[Delivery, None]:
        """Yield the readings at their pace, as many together as are due at a time."""
        begun_s = self._steady_s()
        first_ms: int | None = None
        count = 0
        due: list[Reading] = []
        for reading in readings_of(self._file, self._clock):
            first_ms = reading.time_ms if first_ms is None else first_ms
            played_s = (reading.time_ms - first_ms) / 1000.0 / self._file.speed
            wait_s = begun_s + played_s - self._steady_s()
            if due and (wait_s > 0 or len(due) >= _TOGETHER):
                yield await self._together(due)
                due = []
            if wait_s > 0:
                await self._pause(wait_s)
            due.append(replace(reading, arrival_ms=self._clock.now_ms()))
            count += 1
        if due:
            yield await self._together(due)
        say(_log, "the file is played to its end", file=self.name, readings=count)

    def committed(self, receipts: Sequence[object]) -> None:
        """Go on, if playing waits for the store."""
        self._waiting -= len(receipts)
        self._committed.set()

    async def _together(self, due: list[Reading]) -> Delivery:
        """Return a delivery once there is room for it: a file loses nothing by waiting."""
        while self._waiting >= _AHEAD:
            self._committed.clear()
            await self._committed.wait()
        self._waiting += 1
        await self._pause(0)
        return Delivery(due, receipt=object())


def readings_of(file: ReplayFile, clock: Clock) -> Iterator[Reading]:
    """Return the readings of a file, in the order of the file (CSV) or of time (SenML).

    Args:
        file: The file.
        clock: Its time is the arrival of readings.

    Yields:
        Readings; a row that can't be read is a bad reading.

    Raises:
        OSError: The file can't be read.
        FrameError: A CSV file has no header with time and value.
    """
    if file.path.suffix.lower() == ".csv":
        yield from _csv(file, clock)
        return
    data = file.path.read_bytes()
    pack = SenmlDecoder().decode(data, channel=str(file.path), arrival_ms=clock.now_ms())
    yield from sorted(pack, key=lambda reading: reading.time_ms)


def _csv(file: ReplayFile, clock: Clock) -> Iterator[Reading]:
    with file.path.open(encoding="utf-8-sig", errors="replace", newline="") as opened:
        rows = csv.DictReader(opened, restkey="rest", restval="")
        header = set(rows.fieldnames or ())
        if "value" not in header or not header & {"time", "time_ms"}:
            raise FrameError(
                f"The first line is {', '.join(map(str, rows.fieldnames or ['empty']))}.",
                where=str(file.path),
                do="It must name the columns: time or time_ms, value, and series, unit, quality "
                "and reason where there are such.",
            )
        last_ms = clock.now_ms()
        while True:
            try:
                row = next(rows)
            except StopIteration:
                return
            except csv.Error as error:
                yield _unreadable_row(file, rows.line_num, str(error), b"", last_ms)
                continue
            try:
                reading = _reading(row, file, clock)
            except FrameError as error:
                text = ",".join(str(cell) for cell in row.values()).encode()
                yield _unreadable_row(file, rows.line_num, str(error), text, last_ms)
                continue
            last_ms = reading.time_ms
            yield reading


def _reading(row: dict[str, str], file: ReplayFile, clock: Clock) -> Reading:
    series = row.get("series") or file.series or as_series(file.path.stem)
    fault = name_fault(series)
    if fault:
        raise FrameError(fault)
    quality = _QUALITIES.get(row.get("quality") or Quality.GOOD.word)
    if quality is None:
        raise FrameError(
            f"the quality {row['quality']!r} is not known", do="Use good, suspect, bad."
        )
    said = row["value"].strip()
    if not said and quality is not Quality.BAD:
        raise FrameError("no value")
    return Reading(
        series=series,
        value=parse_number(said) if said and quality is not Quality.BAD else None,
        unit=unit_symbol(row.get("unit") or ""),
        time_ms=_time_ms(row),
        time_source=TimeSource.INSTRUMENT,
        arrival_ms=clock.now_ms(),
        quality=quality,
        reason=row.get("reason") or "",
    )


def _time_ms(row: dict[str, str]) -> int:
    text = row.get("time_ms") or ""
    if not text:
        return rfc3339_ms((row.get("time") or "").strip())
    try:
        time_ms = int(text)
    except ValueError as error:
        raise FrameError(f"{shown(text)} is no whole number of milliseconds.") from error
    if not 0 <= time_ms <= LATEST_MS:
        raise FrameError(f"the time {shown(time_ms)} ms is outside the years 1970 to 9999")
    return time_ms


def _unreadable_row(file: ReplayFile, line: int, reason: str, text: bytes, time_ms: int) -> Reading:
    (bad,) = unreadable(str(file.path), f"line {line}: {reason}", text, time_ms)
    return bad
