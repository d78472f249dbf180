# SPDX-License-Identifier: MIT
"""Times at the edges: RFC 3339 in UTC in JSON, milliseconds since 1970 UTC inside.

Imports only the standard library, the ground and the pure frames.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from collector.errors import FrameError, RecordError
from collector.frames.instants import LATEST_MS, rfc3339_ms
from collector.frames.names import shown


def parse_ms(text: str) -> int:
    """Return a time as milliseconds since 1970-01-01T00:00:00Z.

    Args:
        text: RFC 3339 with an offset, a space in place of T if one likes; a leap second counts as
            the second after it.

    Returns:
        The time [ms], in the years 1970 to 9999.

    Raises:
        RecordError: It isn't RFC 3339, names no real day, or lies outside these years.

    Example:
        >>> parse_ms("1996-12-19T16:39:57-08:00") == parse_ms("1996-12-20T00:39:57Z")
        True
    """
    said = text.strip()
    if said[10:11] == " ":
        said = f"{said[:10]}T{said[11:]}"
    try:
        time_ms = rfc3339_ms(said)
    except FrameError as error:
        raise RecordError(
            f"{shown(text)} is not a time.",
            do="Write it as RFC 3339 with an offset, such as 2026-03-02T08:15:00Z.",
        ) from error
    return known_ms(time_ms)


def known_ms(time_ms: int) -> int:
    """Return a time as it is, if a record can hold it.

    Args:
        time_ms: [ms since 1970 UTC]

    Raises:
        RecordError: It lies outside the years 1970 to 9999.
    """
    if not 0 <= time_ms <= LATEST_MS:
        years = time_ms / 31_556_952_000
        raise RecordError(
            f"A time {years:.0f} years from 1970 lies outside the years 1970 to 9999.",
            do="Check the year and the clock of the device.",
        )
    return time_ms


def format_ms(time_ms: float) -> str:
    """Return a time as RFC 3339 in UTC with milliseconds.

    Args:
        time_ms: [ms since 1970 UTC]

    Example:
        >>> format_ms(268_435_456_000)
        '1978-07-04T21:24:16.000Z'
    """
    time = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=round(time_ms))
    return time.strftime("%Y-%m-%dT%H:%M:%S.") + f"{time.microsecond // 1000:03d}Z"


def format_s(time_s: float) -> str:
    """Return a time given in seconds since 1970 UTC as RFC 3339 with milliseconds."""
    return format_ms(time_s * 1000.0)
