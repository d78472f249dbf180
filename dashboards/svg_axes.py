# SPDX-License-Identifier: MIT
"""Where the ticks of a picture fall, and how its labels keep out of each other's way.

Pure presentation: standard library only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from itertools import pairwise

_MINUTE_MS = 60_000
_STEPS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10080)
LETTER_WIDTH = 0.56
"""Mean width of a letter, in heights of the letters; common practice for a plain face."""


def value_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round values from `low` to `high`, at most `most` + 1 of them.

    Args:
        low: Lower end [any unit].
        high: Upper end, above it [the same].
        most: How many spaces between ticks there may be [-].

    Example:
        >>> value_ticks(18.0, 99.0)
        [20.0, 40.0, 60.0, 80.0]
    """
    raw = (high - low) / most
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(size * factor for factor in (1.0, 2.0, 5.0, 10.0) if size * factor >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(index * step, 10) for index in range(first, last + 1)]


def time_ticks(from_ms: float, to_ms: float, zone: tzinfo, most: int = 8) -> list[int]:
    """Return round times of the kitchen's clock.

    Args:
        from_ms: Earlier end [ms since 1970 UTC].
        to_ms: Later end [ms since 1970 UTC].
        zone: The kitchen's.
        most: How many spaces between ticks there may be [-].

    Example:
        >>> quarter = 15 * 60_000
        >>> [tick // quarter for tick in time_ticks(0, 4 * quarter, UTC, 4)]
        [0, 1, 2, 3, 4]
    """
    span_min = (to_ms - from_ms) / _MINUTE_MS
    step_min = next((s for s in _STEPS_MIN if s * most >= span_min), _STEPS_MIN[-1])
    step_ms = step_min * _MINUTE_MS
    offset = datetime.fromtimestamp(from_ms / 1000.0, UTC).astimezone(zone).utcoffset()
    shift_ms = round(offset.total_seconds() * 1000.0) if offset else 0
    first = math.ceil((from_ms + shift_ms) / step_ms) * step_ms - shift_ms
    return list(range(first, math.floor(to_ms) + 1, step_ms))


def text_width(text: str, size: float) -> float:
    """Return about how wide a text is [px]."""
    return len(text) * size * LETTER_WIDTH


def rows_for(spans: Sequence[tuple[float, float]], most: int = 6) -> list[int]:
    """Return a row for each label, so that no two of one row overlap.

    Args:
        spans: Left and right end of each label, ordered by the left end [px].
        most: Rows there may be; beyond that labels go where least is lost [-].

    Returns:
        Row of each label, 0 for the first.

    Example:
        >>> rows_for([(0, 40), (30, 70), (50, 90), (95, 120)])
        [0, 1, 0, 0]
    """
    ends: list[float] = []
    rows: list[int] = []
    for left, right in spans:
        row = next((i for i, end in enumerate(ends) if end <= left), None)
        if row is None and len(ends) < most:
            row = len(ends)
            ends.append(right)
        elif row is None:
            row = min(range(len(ends)), key=lambda index: ends[index])
        ends[row] = max(ends[row], right)
        rows.append(row)
    return rows


def usual_interval_ms(times_ms: Sequence[float]) -> float:
    """Return the median distance between times, 0 with fewer than two [ms]."""
    if len(times_ms) < 2:
        return 0.0
    distances = sorted(later - earlier for earlier, later in pairwise(times_ms))
    return distances[len(distances) // 2]
