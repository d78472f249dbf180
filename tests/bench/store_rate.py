# SPDX-License-Identifier: MIT
"""Committing readings and reading a batch's curve, beside SQLite alone in the same run.

The limit is a bare table `(series, time, value)` written by one `executemany` a commit, and a bare
`SELECT` of the same curve. Medians of several rounds.
"""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np

from api.process.thinning import thin
from collector.readings import Reading, TimeSource
from collector.store.sqlite import SqliteStore

READINGS = 50_000
AT_ONCE = 100
ROUNDS = 5
CURVE = 7200
T0 = 1_790_000_000_000


def readings() -> list[Reading]:
    """Return readings of five series at 1 Hz, in steps of 0.0625 degC."""
    rng = np.random.default_rng(1)
    value = np.round((80 + np.cumsum(rng.normal(0, 0.01, READINGS))) / 0.0625) * 0.0625
    return [
        Reading(
            f"pot{i % 5}/milk",
            float(v),
            "Cel",
            T0 + 1000 * (i // 5),
            TimeSource.INSTRUMENT,
            T0 + 1000 * (i // 5) + 9,
        )
        for i, v in enumerate(value)
    ]


def bare(folder: Path, rows: list[tuple[int, int, float]]) -> tuple[float, float]:
    """Return seconds to write all rows and to read one curve, by SQLite alone."""
    db = sqlite3.connect(folder / "bare.sqlite3", isolation_level=None)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=FULL")
    db.execute("CREATE TABLE r (s INT, t INT, v REAL, PRIMARY KEY (s, t)) WITHOUT ROWID")
    begun = time.perf_counter()
    for start in range(0, len(rows), AT_ONCE):
        db.execute("BEGIN")
        db.executemany("INSERT INTO r VALUES (?, ?, ?)", rows[start : start + AT_ONCE])
        db.execute("COMMIT")
    written_s = time.perf_counter() - begun
    begun = time.perf_counter()
    found = db.execute("SELECT t, v FROM r WHERE s = 0 ORDER BY t LIMIT ?", (CURVE,)).fetchall()
    read_s = time.perf_counter() - begun
    assert len(found) == CURVE
    db.close()
    return written_s, read_s


def ours(folder: Path, all_readings: list[Reading]) -> tuple[float, float, float, float]:
    """Return seconds to commit, to read a curve, to thin it, and bytes a reading."""
    path = folder / "readings.sqlite3"
    store = SqliteStore(path)
    begun = time.perf_counter()
    for start in range(0, len(all_readings), AT_ONCE):
        store.append(all_readings[start : start + AT_ONCE])
    written_s = time.perf_counter() - begun
    store.stretch("pot0/milk", T0, T0 + 1000)  # the reading connection is open
    begun = time.perf_counter()
    stretch = store.stretch("pot0/milk", T0, T0 + 1000 * CURVE)
    read_s = time.perf_counter() - begun
    begun = time.perf_counter()
    thin(stretch.time_ms, stretch.value, 1000)
    thin_s = time.perf_counter() - begun
    store.close()
    size = sum(file.stat().st_size for file in folder.glob("readings.sqlite3*"))
    return written_s, read_s, thin_s, size / len(all_readings)


def main() -> None:
    """Print medians and ratios."""
    everything = readings()
    rows = [(i % 5, r.time_ms, float(r.value or 0.0)) for i, r in enumerate(everything)]
    limits, found = [], []
    for _ in range(ROUNDS):
        with tempfile.TemporaryDirectory() as folder:
            limits.append(bare(Path(folder), rows))
            found.append(ours(Path(folder), everything))
    write_s, read_s = (statistics.median(column) for column in zip(*limits, strict=True))
    our_write, our_read, thin_s, size = (
        statistics.median(column) for column in zip(*found, strict=True)
    )
    rate, slower = READINGS / our_write, our_write / write_s
    print(f"commit {AT_ONCE} at once: {rate:,.0f} readings/s, {slower:.2f} of bare SQLite's time")
    slower = our_read / read_s
    print(f"curve of {CURVE}: {1e3 * our_read:.2f} ms, {slower:.2f} of a bare SELECT's time")
    print(f"thin it to 1000 points: {1e3 * thin_s:.2f} ms, {thin_s / our_read:.2f} of reading it")
    print(f"on disk: {size:.1f} bytes a reading, arrival index included")


if __name__ == "__main__":
    main()
