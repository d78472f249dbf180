# SPDX-License-Identifier: MIT
"""One commit of readings: repeats recognised, conflicts kept, floods counted.

Used inside a transaction by `collector.store.sqlite` alone.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace

from collector.readings import Quality, Reading, TimeSource, doubted
from collector.store.protocol import Appended

_INSERT = (
    "INSERT INTO reading (series, time_ms, value, lag_ms, flags, reason, unit) "
    "VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING"
)
_FROM_ARRIVAL = 4
CONFLICT = "another value at the same time"
POSSIBLE_REPEAT = "possible repeat"


@dataclass(slots=True)
class _Series:
    number: int
    unit: str
    stamped_ms: int


def _is_numbered(reading: Reading) -> bool:
    # Without a boot id, a device that begins to count anew would seem to repeat itself.
    return reading.boot is not None and reading.sequence is not None


class Writing:
    """The writing of one transaction; made anew for each."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection
        self._known: dict[str, _Series] = {}
        self._words: dict[str, int] = {}
        self._stored = self._repeated = self._suspect = self._bad = self._conflicts = 0
        self._last_arrival = 0

    def write(self, readings: Sequence[Reading]) -> Appended:
        """Write readings in order and say what became of them."""
        readings = [doubted(reading) for reading in readings]
        if not self._write_at_once(readings):
            for reading in readings:
                self._write_one(reading)
        for name, series in self._known.items():
            self._db.execute(
                "UPDATE series SET stamped_ms = ? WHERE name = ? AND stamped_ms < ?",
                (series.stamped_ms, name, series.stamped_ms),
            )
        return Appended(
            self._stored,
            self._repeated,
            self._suspect,
            self._bad,
            self._conflicts,
            self._last_arrival,
        )

    def _write_at_once(self, readings: Sequence[Reading]) -> bool:
        """Write plain new readings by two statements; False, and nothing written, if some aren't.

        Plain: the instrument set the time, no running number, a value.
        """
        if len(readings) < 2 or any(
            r.time_source is TimeSource.ARRIVAL or r.sequence is not None or r.value is None
            for r in readings
        ):
            return False
        rows = [self._row(reading, self._series(reading)) for reading in readings]
        self._db.execute("SAVEPOINT at_once")
        inserted = self._db.executemany(_INSERT, rows).rowcount
        if inserted != len(rows):
            self._db.execute("ROLLBACK TO at_once")
            self._db.execute("RELEASE at_once")
            return False
        self._db.execute("RELEASE at_once")
        self._db.executemany(
            "INSERT INTO arrival (series, time_ms) VALUES (?, ?)", [row[:2] for row in rows]
        )
        self._last_arrival = int(
            self._db.execute("SELECT seq FROM sqlite_sequence WHERE name = 'arrival'").fetchone()[0]
        )
        self._stored = len(rows)
        self._suspect = sum(r.quality is Quality.SUSPECT for r in readings)
        self._bad = sum(r.quality is Quality.BAD for r in readings)
        return True

    def _write_one(self, reading: Reading) -> None:
        series = self._series(reading)
        if reading.frame is not None and self._counted_in_flood(reading, series):
            self._bad += 1
            return
        if _is_numbered(reading) and self._said_before(reading, series):
            return
        if reading.time_source is TimeSource.ARRIVAL:
            if (
                reading.redelivered
                and not _is_numbered(reading)
                and reading.quality is Quality.GOOD
            ):
                reading = replace(reading, quality=Quality.SUSPECT, reason=POSSIBLE_REPEAT)
            reading = self._stamped(reading, series)
        row = self._row(reading, series)
        if self._db.execute(_INSERT, row).rowcount == 0:
            self._meet_conflict(reading, series)
            return
        self._stored += 1
        self._suspect += reading.quality is Quality.SUSPECT
        self._bad += reading.quality is Quality.BAD
        self._arrive(series.number, reading.time_ms)
        if _is_numbered(reading):
            self._db.execute(
                "INSERT OR IGNORE INTO sequence VALUES (?, ?, ?, ?)",
                (series.number, reading.boot, reading.sequence, reading.time_ms),
            )
        if reading.frame is not None:
            self._db.execute(
                "INSERT INTO frame VALUES (?, ?, ?, 1)",
                (series.number, reading.time_ms, reading.frame),
            )

    def _stamped(self, reading: Reading, series: _Series) -> Reading:
        """Make times that were set on arrival strictly increasing for the series."""
        time_ms = max(reading.time_ms, series.stamped_ms + 1)
        while self._db.execute(
            "SELECT 1 FROM reading WHERE series = ? AND time_ms = ?", (series.number, time_ms)
        ).fetchone():
            time_ms += 1
        series.stamped_ms = time_ms
        return replace(reading, time_ms=time_ms)

    def _said_before(self, reading: Reading, series: _Series) -> bool:
        """Recognise a repeat by the instrument's own running number."""
        found = self._db.execute(
            "SELECT s.time_ms, r.value FROM sequence s JOIN reading r "
            "ON r.series = s.series AND r.time_ms = s.time_ms "
            "WHERE s.series = ? AND s.boot = ? AND s.sequence = ?",
            (series.number, reading.boot, reading.sequence),
        ).fetchone()
        if found is None:
            return False
        if found[1] == reading.value:
            self._repeated += 1
        else:
            self._meet_conflict(replace(reading, time_ms=found[0]), series)
        return True

    def _meet_conflict(self, reading: Reading, series: _Series) -> None:
        """The time is taken: a repeat is counted, another value is kept beside the first."""
        where = (series.number, reading.time_ms)
        value, unit = self._db.execute(
            "SELECT r.value, coalesce(w.text, ?) FROM reading r LEFT JOIN word w ON w.id = r.unit "
            "WHERE r.series = ? AND r.time_ms = ?",
            (series.unit, *where),
        ).fetchone()
        same = value == reading.value and unit == (reading.unit or series.unit)
        kept = self._db.execute(
            "SELECT 1 FROM conflict WHERE series = ? AND time_ms = ? AND value IS ? AND unit = ?",
            (*where, reading.value, reading.unit),
        ).fetchone()
        if same or kept:
            self._repeated += 1
            return
        self._conflicts += 1
        self._db.execute(
            "INSERT INTO conflict VALUES (?, ?, ?, ?, ?)",
            (*where, reading.value, reading.unit, reading.arrival_ms),
        )
        self._db.execute(
            "UPDATE reading SET flags = (flags & 4) + max(flags & 3, ?), "
            "reason = coalesce(reason, ?) WHERE series = ? AND time_ms = ?",
            (int(Quality.SUSPECT), self._word(CONFLICT), *where),
        )
        self._arrive(*where)

    def _counted_in_flood(self, reading: Reading, series: _Series) -> bool:
        """Frames that can't be read are stored once a second for each port, with a count."""
        second_ms = reading.time_ms - reading.time_ms % 1000
        return (
            self._db.execute(
                "UPDATE frame SET count = count + 1 WHERE series = ? AND time_ms = ("
                "SELECT max(time_ms) FROM frame WHERE series = ? AND time_ms >= ? "
                "AND time_ms < ?)",
                (series.number, series.number, second_ms, second_ms + 1000),
            ).rowcount
            > 0
        )

    def _arrive(self, number: int, time_ms: int) -> None:
        cursor = self._db.execute(
            "INSERT INTO arrival (series, time_ms) VALUES (?, ?)", (number, time_ms)
        )
        self._last_arrival = int(cursor.lastrowid or 0)

    def _row(
        self, reading: Reading, series: _Series
    ) -> tuple[int, int, float | None, int, int, int | None, int | None]:
        flags = int(reading.quality)
        if reading.time_source is TimeSource.ARRIVAL:
            flags += _FROM_ARRIVAL
        other_unit = reading.value is not None and reading.unit != series.unit
        return (
            series.number,
            reading.time_ms,
            reading.value,
            reading.arrival_ms - reading.time_ms,
            flags,
            self._word(reading.reason) if reading.reason else None,
            self._word(reading.unit) if other_unit else None,
        )

    def _series(self, reading: Reading) -> _Series:
        known = self._known.get(reading.series)
        if known is None:
            known = self._load(reading)
            self._known[reading.series] = known
        if not known.unit and reading.value is not None and reading.unit:
            # Its first readings were bad frames; the first value names the unit.
            known.unit = reading.unit
            self._db.execute(
                "UPDATE series SET unit = ? WHERE id = ?", (reading.unit, known.number)
            )
        return known

    def _load(self, reading: Reading) -> _Series:
        row = self._db.execute(
            "SELECT id, unit, stamped_ms FROM series WHERE name = ?", (reading.series,)
        ).fetchone()
        if row:
            return _Series(*row)
        cursor = self._db.execute(
            "INSERT INTO series (name, unit, first_ms) VALUES (?, ?, ?)",
            (reading.series, reading.unit, reading.time_ms),
        )
        return _Series(int(cursor.lastrowid or 0), reading.unit, 0)

    def _word(self, text: str) -> int:
        number = self._words.get(text)
        if number is None:
            self._db.execute("INSERT OR IGNORE INTO word (text) VALUES (?)", (text,))
            number = int(
                self._db.execute("SELECT id FROM word WHERE text = ?", (text,)).fetchone()[0]
            )
            self._words[text] = number
        return number
