# SPDX-License-Identifier: MIT
"""Readings in one SQLite file: rows by (series, time), and an index of arrival.

Writers in several processes take turns (BEGIN IMMEDIATE and a busy timeout); readers never wait.
Imports only the ground, numpy and sqlite3.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np

from collector.errors import StoreError
from collector.readings import Quality, Reading, TimeSource
from collector.store.protocol import Appended, Arrived, ClockStep, SeriesInfo, Stretch
from collector.store.schema import bring_up_to_date, connect
from collector.store.writing import CONFLICT, Writing

_FROM_ARRIVAL = 4
_READING_COLUMNS = (
    "s.name, r.value, coalesce(u.text, s.unit), r.time_ms, r.lag_ms, r.flags, "
    "coalesce(w.text, ''), f.bytes"
)
_READING_JOINS = (
    "JOIN series s ON s.id = r.series LEFT JOIN word u ON u.id = r.unit "
    "LEFT JOIN word w ON w.id = r.reason "
    "LEFT JOIN frame f ON f.series = r.series AND f.time_ms = r.time_ms"
)

# time, value, flags, reason, unit, lag
_Row = tuple[int, float | None, int, int | None, int | None, int]


class SqliteStore:
    """The readings file, for any number of threads and processes."""

    def __init__(self, path: Path) -> None:
        """Open or make the file.

        Raises:
            StoreError: It can't be opened, or was written by a newer version.
        """
        self.path = path
        self._lock = threading.RLock()
        self._local = threading.local()
        self._readers: list[sqlite3.Connection] = []
        self._writer = connect(path)
        bring_up_to_date(self._writer, path)

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Commit readings in one transaction, in order.

        Args:
            readings: What came, in the order in which it came.

        Returns:
            What became of them.

        Raises:
            StoreError: The commit failed; nothing of it is kept, and it may be tried again.
            OverflowError: A number is too large to be kept; nothing of it is kept.
        """
        with self._lock:
            try:
                self._writer.execute("BEGIN IMMEDIATE")
                done = Writing(self._writer).write(readings)
                self._writer.execute("COMMIT")
            except BaseException as error:
                with suppress(sqlite3.Error):
                    if self._writer.in_transaction:
                        self._writer.execute("ROLLBACK")
                if not isinstance(error, sqlite3.Error):
                    raise
                raise StoreError(
                    f"{len(readings)} readings could not be committed ({error}).",
                    where=str(self.path),
                    do="Check the disk's free space; they are kept in memory and tried again.",
                ) from error
            return done

    def stretch(self, series: str, from_ms: int | None = None, to_ms: int | None = None) -> Stretch:
        """Return the readings of one series with from <= time < to.

        Args:
            series: Its name; an unknown one gives an empty stretch.
            from_ms: [ms since 1970 UTC], None for the first.
            to_ms: [ms since 1970 UTC], not included; None for all.

        Returns:
            Arrays of one length, oldest first.
        """
        reader = self._reader()
        found = reader.execute("SELECT id, unit FROM series WHERE name = ?", (series,)).fetchone()
        rows: list[_Row] = []
        unit = ""
        if found:
            unit = found[1]
            rows = reader.execute(
                "SELECT time_ms, value, flags, reason, unit, lag_ms FROM reading "
                "WHERE series = ? AND time_ms >= ? AND time_ms < ? ORDER BY time_ms",
                (found[0], -(2**62) if from_ms is None else from_ms, to_ms or 2**62),
            ).fetchall()
        flags = np.fromiter((row[2] for row in rows), np.int8, len(rows))
        quality = (flags & 3).astype(np.int8)
        value = np.array([row[1] for row in rows], dtype=np.float64)
        reasons = {i: self._word(row[3]) for i, row in enumerate(rows) if row[3] is not None}
        self._mark_other_units(rows, unit, quality, reasons)
        times = np.fromiter((row[0] for row in rows), np.int64, len(rows))
        return Stretch(
            series=series,
            unit=unit,
            time_ms=times,
            value=value,
            quality=quality,
            from_arrival=(flags & _FROM_ARRIVAL) != 0,
            arrival_ms=times + np.fromiter((row[5] for row in rows), np.int64, len(rows)),
            reasons=reasons,
        )

    def series(self) -> list[SeriesInfo]:
        """Return every series with its latest reading, by name."""
        reader = self._reader()
        rows = reader.execute("SELECT id, name, unit, first_ms FROM series ORDER BY name")
        return [
            SeriesInfo(name, unit, first_ms, self._last(reader, number))
            for number, name, unit, first_ms in rows.fetchall()
        ]

    def since(self, arrival: int, limit: int) -> list[Arrived]:
        """Return up to `limit` readings that arrived after number `arrival`, in that order."""
        rows = self._reader().execute(
            f"SELECT a.n, {_READING_COLUMNS} FROM arrival a "
            "JOIN reading r ON r.series = a.series AND r.time_ms = a.time_ms "
            f"{_READING_JOINS} WHERE a.n > ? ORDER BY a.n LIMIT ?",
            (arrival, limit),
        )
        return [Arrived(row[0], _reading(row[1:])) for row in rows.fetchall()]

    def last_arrival(self) -> int:
        """Return the highest arrival number so far, 0 if none."""
        row = self._reader().execute(
            "SELECT coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'arrival'), 0)"
        )
        return int(row.fetchone()[0])

    def said(self, series: str, from_ms: int, to_ms: int) -> list[Reading]:
        """Return the readings of one series with from <= time < to, each in the unit it was said.

        Args:
            series: Its name.
            from_ms: [ms since 1970 UTC]
            to_ms: [ms since 1970 UTC], not included.

        Returns:
            As they are kept, oldest first, without the frames of those that couldn't be read.
        """
        rows = self._reader().execute(
            f"SELECT {_READING_COLUMNS} FROM reading r {_READING_JOINS} "
            "WHERE s.name = ? AND r.time_ms >= ? AND r.time_ms < ? ORDER BY r.time_ms",
            (series, from_ms, to_ms),
        )
        return [_reading((*row[:7], None)) for row in rows.fetchall()]

    def conflicts(self, series: str, from_ms: int, to_ms: int) -> list[Reading]:
        """Return the readings whose time was taken already, in the order in which they came."""
        rows = self._reader().execute(
            "SELECT c.value, c.unit, c.time_ms, c.arrival_ms FROM conflict c "
            "JOIN series s ON s.id = c.series "
            "WHERE s.name = ? AND c.time_ms >= ? AND c.time_ms < ? ORDER BY c.rowid",
            (series, from_ms, to_ms),
        )
        return [
            Reading(series, value, unit, time_ms, TimeSource.INSTRUMENT, arrival_ms,
                    Quality.SUSPECT, CONFLICT)
            for value, unit, time_ms, arrival_ms in rows.fetchall()
        ]  # fmt: skip

    def damage(self) -> list[str]:
        """Return what SQLite finds wrong with the file itself, [] if nothing."""
        found = [str(row[0]) for row in self._reader().execute("PRAGMA integrity_check")]
        return [] if found == ["ok"] else found

    def frame_count(self, series: str) -> int:
        """Return how many frames of this port or topic couldn't be read."""
        row = self._reader().execute(
            "SELECT coalesce(sum(f.count), 0) FROM frame f JOIN series s ON s.id = f.series "
            "WHERE s.name = ?",
            (series,),
        )
        return int(row.fetchone()[0])

    def record_clock_step(self, step: ClockStep) -> None:
        """Keep that the wall clock moved, or that a run began."""
        with self._lock:
            self._writer.execute(
                "INSERT INTO clock_step VALUES (?, ?, ?, ?)",
                (step.boot, step.run, step.at_ms, step.step_ms),
            )

    def clock_steps(self) -> list[ClockStep]:
        """Return every clock step and start of a run, oldest first."""
        rows = self._reader().execute("SELECT boot, run, at_ms, step_ms FROM clock_step")
        return [ClockStep(*row) for row in rows.fetchall()]

    def cursor(self, name: str) -> int:
        """Return the arrival number up to which `name` has read, 0 at first."""
        row = self._reader().execute("SELECT arrival FROM cursor WHERE name = ?", (name,))
        found = row.fetchone()
        return int(found[0]) if found else 0

    def set_cursor(self, name: str, arrival: int) -> None:
        """Keep how far `name` has read."""
        with self._lock:
            self._writer.execute(
                "INSERT INTO cursor VALUES (?, ?) "
                "ON CONFLICT (name) DO UPDATE SET arrival = excluded.arrival",
                (name, arrival),
            )

    def trim_arrivals(self, keep: int = 200_000) -> int:
        """Drop arrival numbers that lie below every cursor and below the last `keep`.

        Returns:
            How many were dropped; no reading is ever dropped.
        """
        with self._lock:
            lowest = self._writer.execute("SELECT min(arrival) FROM cursor").fetchone()[0]
            bound = self.last_arrival() - keep
            if lowest is not None:
                bound = min(bound, int(lowest))
            return self._writer.execute("DELETE FROM arrival WHERE n <= ?", (bound,)).rowcount

    def close(self) -> None:
        """Let go of the file; what was appended is already committed."""
        with self._lock:
            for connection in (*self._readers, self._writer):
                connection.close()

    def _reader(self) -> sqlite3.Connection:
        found: sqlite3.Connection | None = getattr(self._local, "connection", None)
        if found is None:
            found = connect(self.path)
            self._local.connection = found
            with self._lock:
                self._readers.append(found)
        return found

    def _word(self, number: int | None) -> str:
        row = self._reader().execute("SELECT text FROM word WHERE id = ?", (number,)).fetchone()
        return str(row[0]) if row else ""

    def _last(self, reader: sqlite3.Connection, number: int) -> Reading | None:
        row = reader.execute(
            f"SELECT {_READING_COLUMNS} FROM reading r {_READING_JOINS} "
            "WHERE r.series = ? ORDER BY r.time_ms DESC LIMIT 1",
            (number,),
        ).fetchone()
        return _reading(row) if row else None

    def _mark_other_units(
        self,
        rows: list[_Row],
        unit: str,
        quality: np.ndarray,
        reasons: dict[int, str],
    ) -> None:
        """A stretch has one unit: a value said in another is shown as suspect, not converted."""
        for index, row in enumerate(rows):
            if row[4] is not None and row[1] is not None:
                quality[index] = max(int(quality[index]), Quality.SUSPECT)
                reasons[index] = f"said in {self._word(row[4])}, not in {unit}"


def _reading(row: tuple[str, float | None, str, int, int, int, str, bytes | None]) -> Reading:
    series, value, unit, time_ms, lag_ms, flags, reason, frame = row
    reading = Reading(
        series=series,
        value=value,
        unit=unit,
        time_ms=time_ms,
        time_source=TimeSource.ARRIVAL if flags & _FROM_ARRIVAL else TimeSource.INSTRUMENT,
        arrival_ms=time_ms + lag_ms,
        quality=Quality(flags & 3),
        reason=reason,
    )
    return replace(reading, frame=frame) if frame is not None else reading
