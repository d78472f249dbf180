# SPDX-License-Identifier: MIT
"""Times that instruments send, into milliseconds since 1970 UTC. Pure: no clock.

Source: RFC 3339 section 5.6 (grammar from memory): an offset is required, T and Z may be lower
case, second 60 is a leap second and is taken as the second after.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from decimal import ROUND_HALF_EVEN, Decimal

from collector.errors import FrameError
from collector.frames.names import shown

FUTURE_ALLOWED_MS = 60_000
EARLIEST_MS = 1_577_836_800_000  # 2020-01-01T00:00:00Z: before any instrument of this project
LATEST_MS = 253_402_300_799_999  # 9999-12-31T23:59:59.999Z: the last that RFC 3339 can write

_RFC3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt](\d{2}:\d{2}):(\d{2})(\.\d+)?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)


def milliseconds(seconds: Decimal) -> int | None:
    """Return seconds as whole milliseconds, None outside the years 1970 to 9999.

    Args:
        seconds: Since 1970-01-01T00:00:00Z [s]; a half millisecond goes to the even one.

    Returns:
        [ms].
    """
    if not 0 <= seconds < (LATEST_MS + 1) // 1000:
        return None
    return int((seconds * 1000).to_integral_value(ROUND_HALF_EVEN))


def rfc3339_ms(text: str) -> int:
    """Return a time of RFC 3339 in milliseconds since 1970 UTC.

    Args:
        text: With an offset; digits beyond the millisecond are rounded.

    Returns:
        [ms], negative before 1970.

    Raises:
        FrameError: It is no such time.

    Example:
        >>> rfc3339_ms("1996-12-19T16:39:57-08:00") == rfc3339_ms("1996-12-20T00:39:57Z")
        True
    """
    match = _RFC3339.fullmatch(text)
    wrong = f"{shown(text)} is not a time as RFC 3339 writes it, with its offset."
    if match is None:
        raise FrameError(wrong, do="Write it like 2026-03-01T09:15:30.250Z.")
    date, hour_minute, second, fraction, offset = match.groups()
    leap = second == "60"
    try:
        whole = datetime.fromisoformat(
            f"{date}T{hour_minute}:{'59' if leap else second}"
            f"{'+00:00' if offset in 'Zz' else offset}"
        ).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise FrameError(wrong, do="Check day, hour and minute.") from error
    seconds = (whole - datetime(1970, 1, 1, tzinfo=UTC)).days * 86_400
    seconds += whole.hour * 3600 + whole.minute * 60 + whole.second + leap
    parts = Decimal(f"0{(fraction or '.0')[:40]}") * 1000
    return seconds * 1000 + int(parts.to_integral_value(ROUND_HALF_EVEN))


def time_doubt(time_ms: int, now_ms: int) -> str:
    """Return why an instrument's time can hardly be right; "" if it can.

    Args:
        time_ms: The instrument's time [ms since 1970 UTC].
        now_ms: The time of arrival, same scale.

    Returns:
        A reason, with how far it is off.
    """
    ahead_ms = time_ms - now_ms
    if ahead_ms > FUTURE_ALLOWED_MS:
        return f"time in the future: {ahead_ms / 1000:.0f} s ahead of arrival"
    if time_ms < EARLIEST_MS:
        return "time before 2020-01-01"
    return ""
