# SPDX-License-Identifier: MIT
"""Times at the edges: RFC 3339 in UTC in JSON, milliseconds since 1970 UTC inside.

Imports only the standard library and the ground.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from collector.errors import RecordError

_RFC3339 = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d+))?([Zz]|[+-]\d\d:\d\d)"
)


def parse_ms(text: str) -> int:
    """Return a time as milliseconds since 1970-01-01T00:00:00Z.

    Args:
        text: RFC 3339 with an offset; a leap second counts as the second after it.

    Returns:
        The time [ms].

    Raises:
        RecordError: It isn't RFC 3339, or names no real day.

    Example:
        >>> parse_ms("1996-12-19T16:39:57-08:00") == parse_ms("1996-12-20T00:39:57Z")
        True
    """
    match = _RFC3339.fullmatch(text.strip())
    if match is None:
        raise _unreadable(text)
    year, month, day, hour, minute, second = (int(match.group(i)) for i in range(1, 7))
    leap = second == 60
    try:
        local = datetime(year, month, day, hour, minute, 59 if leap else second, tzinfo=UTC)
    except ValueError as error:
        raise _unreadable(text) from error
    offset = match.group(8)
    shift_s = 0
    if offset not in "Zz":
        shift_s = int(offset[1:3]) * 3600 + int(offset[4:6]) * 60
        shift_s = -shift_s if offset[0] == "-" else shift_s
    whole_s = int(local.timestamp()) + (1 if leap else 0) - shift_s
    fraction = (match.group(7) or "").ljust(3, "0")[:3]
    return whole_s * 1000 + int(fraction)


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


def _unreadable(text: str) -> RecordError:
    return RecordError(
        f"{text!r} is not a time.",
        do="Write it as RFC 3339 with an offset, such as 2026-03-02T08:15:00Z.",
    )
