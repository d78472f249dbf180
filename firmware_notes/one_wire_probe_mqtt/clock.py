# SPDX-License-Identifier: MIT
"""Time on a board and at a desk: ticks that never go back, and the wall clock once it is set."""

import time

try:
    from time import ticks_diff, ticks_ms
except ImportError:  # CPython has no ticks

    def ticks_ms():
        """Return milliseconds that never go back."""
        return int(time.monotonic() * 1000)

    def ticks_diff(later, earlier):
        """Return how many milliseconds lie between two ticks."""
        return later - earlier


EPOCH_MS = 946684800000 if time.gmtime(0)[0] == 2000 else 0  # some boards count from 2000
SET_AFTER_MS = 1704067200000  # 2024: a clock before that has not been set


def wall_ms():
    """Return milliseconds since 1970 UTC, None while the clock has not been set."""
    fine = hasattr(time, "time_ns")
    now = EPOCH_MS + (time.time_ns() // 1000000 if fine else int(time.time()) * 1000)
    return now if now > SET_AFTER_MS else None


def sleep_until(start, length_ms):
    """Sleep until so many milliseconds after a tick; not at all if that is over."""
    left_ms = length_ms - ticks_diff(ticks_ms(), start)
    if left_ms > 0:
        time.sleep(left_ms / 1000)
