# SPDX-License-Identifier: MIT
"""How well an instrument has spoken in a stretch of time: rate, gaps, doubtful readings, clock.

Pure: numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Floats

GAP_INTERVALS = 3.0
GAP_AT_LEAST_S = 30.0
_SUSPECT, _BAD = 1, 2


@dataclass(frozen=True, slots=True)
class ReadingHealth:
    """How an instrument has spoken.

    Attributes:
        readings: How many readings there are, of any quality [-].
        usual_interval_s: Median distance between them, NaN with fewer than two [s].
        gaps: How many stretches without a reading are longer than three usual intervals and
            than 30 s, the silence since the last reading among them [-].
        longest_gap_s: The longest of them, 0 without one [s].
        suspect_fraction: Share of suspect readings, NaN without any reading [-].
        bad_fraction: Share of bad ones, likewise [-].
        from_arrival_fraction: Share whose time was set on arrival, likewise [-].
    """

    readings: int
    usual_interval_s: float
    gaps: int
    longest_gap_s: float
    suspect_fraction: float
    bad_fraction: float
    from_arrival_fraction: float


def reading_health(
    time_s: Floats, quality: NDArray[np.int8], from_arrival: NDArray[np.bool_], until_s: float
) -> ReadingHealth:
    """Return how an instrument has spoken in a stretch.

    Silence before its first reading in the stretch does not count: it may have been put in then.

    Args:
        time_s: Times of its readings [s since 1970 UTC], shape (n,), oldest first.
        quality: 0 good, 1 suspect, 2 bad [-], shape (n,).
        from_arrival: Whether the time was set on arrival [-], shape (n,).
        until_s: The end of the stretch, such as now [s since 1970 UTC].

    Returns:
        Count, interval, gaps and shares [-, s].

    Source:
        Definition; a gap as for holds.

    Example:
        >>> times = np.array([0.0, 1.0, 2.0, 3.0, 64.0])
        >>> found = reading_health(times, np.zeros(5, np.int8), np.zeros(5, bool), 65.0)
        >>> found.gaps, found.longest_gap_s, found.usual_interval_s
        (1, 61.0, 1.0)
    """
    count = int(time_s.size)
    if not count:
        return ReadingHealth(0, np.nan, 0, 0.0, np.nan, np.nan, np.nan)
    distances = np.diff(time_s)
    usual_s = float(np.median(distances)) if count > 1 else float("nan")
    limit_s = max(GAP_INTERVALS * usual_s, GAP_AT_LEAST_S) if count > 1 else GAP_AT_LEAST_S
    silent = np.append(distances, max(until_s - float(time_s[-1]), 0.0))
    gaps = silent[silent > limit_s]
    return ReadingHealth(
        readings=count,
        usual_interval_s=usual_s,
        gaps=int(gaps.size),
        longest_gap_s=float(gaps.max()) if gaps.size else 0.0,
        suspect_fraction=float(np.mean(quality == _SUSPECT)),
        bad_fraction=float(np.mean(quality == _BAD)),
        from_arrival_fraction=float(np.mean(from_arrival)),
    )
