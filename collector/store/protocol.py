# SPDX-License-Identifier: MIT
"""What every store of readings can do.

Imports only the ground and numpy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from collector.readings import Quality, Reading, TimeSource


@dataclass(frozen=True, slots=True)
class Appended:
    """What became of the readings of one commit.

    Attributes:
        stored: New readings, whatever their quality.
        repeated: Readings that were there already, with the same value.
        suspect: Of those stored, how many are suspect.
        bad: Of those stored, how many are bad.
        conflicts: Readings whose time was taken by another value; both are kept and suspect.
        last_arrival: The highest arrival number given, 0 if none.
    """

    stored: int
    repeated: int
    suspect: int
    bad: int
    conflicts: int
    last_arrival: int


@dataclass(frozen=True, slots=True)
class SeriesInfo:
    """One series as the store knows it.

    Attributes:
        name: Its name.
        unit: The unit of its first good reading, as said.
        first_ms: Time of its first reading [ms since 1970 UTC].
        last: Its latest reading by time, None if it has none.
    """

    name: str
    unit: str
    first_ms: int
    last: Reading | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """Readings of one series, oldest first, as arrays of one length.

    Attributes:
        series: Its name.
        unit: The unit of `value`, as said.
        time_ms: [ms since 1970 UTC], shape (n,), strictly increasing.
        value: As said [unit], NaN where bad, shape (n,).
        quality: `Quality` numbers, shape (n,).
        from_arrival: True where the time was set on arrival, shape (n,).
        arrival_ms: When each arrived [ms since 1970 UTC], shape (n,).
        reasons: Why a reading is not good, by its index.
    """

    series: str
    unit: str
    time_ms: NDArray[np.int64]
    value: NDArray[np.float64]
    quality: NDArray[np.int8]
    from_arrival: NDArray[np.bool_]
    arrival_ms: NDArray[np.int64]
    reasons: dict[int, str]


@dataclass(frozen=True, slots=True)
class Arrived:
    """A committed reading with its arrival number."""

    arrival: int
    reading: Reading


@dataclass(frozen=True, slots=True)
class ClockStep:
    """The wall clock moved against the monotonic clock, or a run began (step 0).

    Attributes:
        boot: The machine's boot id.
        run: The collector's run id: arrival times are comparable within one run.
        at_ms: Arrival time when it was seen [ms since 1970 UTC].
        step_ms: How far the wall clock moved; 0 at the start of a run.
    """

    boot: str
    run: str
    at_ms: int
    step_ms: int


class ReadingStore(Protocol):
    """Keeps readings; acknowledged means committed."""

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Commit readings in one transaction, in order."""
        ...

    def stretch(self, series: str, from_ms: int | None, to_ms: int | None) -> Stretch:
        """Return the readings with from <= time < to; bounds of None are open."""
        ...

    def series(self) -> list[SeriesInfo]:
        """Return every series with its latest reading, by name."""
        ...

    def close(self) -> None:
        """Finish and let go of the file."""
        ...


class ReadingTail(Protocol):
    """Readings in the order of their arrival; of the local file only."""

    def since(self, arrival: int, limit: int) -> list[Arrived]:
        """Return up to `limit` readings that arrived after number `arrival`."""
        ...

    def last_arrival(self) -> int:
        """Return the highest arrival number so far, 0 if none."""
        ...


__all__ = [
    "Appended",
    "Arrived",
    "ClockStep",
    "Quality",
    "ReadingStore",
    "ReadingTail",
    "SeriesInfo",
    "Stretch",
    "TimeSource",
]
