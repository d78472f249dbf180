# SPDX-License-Identifier: MIT
"""Times as the kitchen's clock shows them, and durations in words.

Pure presentation: imports only what is. RFC 3339 in UTC comes in; differences are always taken
between UTC instants, never between local times.
"""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo

from dashboards.formats import MINUS

_SPACE = " "


def zone_of(name: str) -> tzinfo:
    """Return a time zone by its name; UTC if there is no such zone on this machine."""
    try:
        return ZoneInfo(name)
    except (KeyError, OSError, ValueError):
        return UTC


def instant(text: str) -> datetime:
    """Return an aware time from RFC 3339.

    Example:
        >>> instant("2026-03-02T08:15:00.250Z").isoformat()
        '2026-03-02T08:15:00.250000+00:00'
    """
    return datetime.fromisoformat(text)


def milliseconds(text: str) -> int:
    """Return a time as milliseconds since 1970 UTC.

    Example:
        >>> milliseconds("1978-07-04T21:24:16.500Z")
        268435456500
    """
    moment = instant(text)
    return round(moment.timestamp() * 1000.0)


def from_milliseconds(time_ms: float) -> str:
    """Return RFC 3339 in UTC.

    Args:
        time_ms: [ms since 1970 UTC]
    """
    moment = datetime.fromtimestamp(time_ms / 1000.0, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def clock(text: str | None, zone: tzinfo, *, seconds: bool = False) -> str:
    """Return hours and minutes by the kitchen's clock, "" for no time.

    Args:
        text: RFC 3339.
        zone: The kitchen's.
        seconds: Whether to show them too.

    Example:
        >>> clock("2026-07-02T08:15:09Z", zone_of("Europe/Vienna"), seconds=True)
        '10:15:09'
    """
    if not text:
        return ""
    return instant(text).astimezone(zone).strftime("%H:%M:%S" if seconds else "%H:%M")


def day(text: str | None, zone: tzinfo, *, year: bool = True) -> str:
    """Return the day by the kitchen's clock, "" for no time.

    Example:
        >>> day("2026-03-02T08:15:00Z", zone_of("UTC"))
        'Mon 2 March 2026'
    """
    if not text:
        return ""
    moment = instant(text).astimezone(zone)
    shown = f"{moment:%a} {moment.day} {moment:%B}"
    return f"{shown} {moment.year}" if year else shown


def day_and_clock(text: str | None, zone: tzinfo, now: str | None = None) -> str:
    """Return day and clock: the clock alone for today, no year for this one.

    Args:
        text: RFC 3339, or nothing.
        zone: The kitchen's.
        now: What today is, RFC 3339.

    Example:
        >>> day_and_clock("2026-03-02T08:15:00Z", zone_of("UTC"), "2026-03-02T20:00:00Z")
        '08:15'
        >>> day_and_clock("2026-03-01T08:15:00Z", zone_of("UTC"), "2026-03-02T20:00:00Z")
        'Sun 1 Mar, 08:15'
    """
    if not text:
        return ""
    if now and day(text, zone) == day(now, zone):
        return clock(text, zone)
    moment = instant(text).astimezone(zone)
    this_year = now is not None and instant(now).astimezone(zone).year == moment.year
    year = "" if this_year else f" {moment.year}"
    return f"{moment:%a} {moment.day} {moment:%b}{year}, {clock(text, zone)}"


def local_field(text: str, zone: tzinfo) -> str:
    """Return a time as the date-and-time field of a form takes it, by the kitchen's clock."""
    return instant(text).astimezone(zone).strftime("%Y-%m-%dT%H:%M:%S")


def seconds_between(start: str, end: str) -> float:
    """Return the time from one instant to another [s]."""
    return (instant(end) - instant(start)).total_seconds()


def duration(seconds: float | None) -> str:
    """Return a duration in the two units that matter.

    Args:
        seconds: [s]; None says "not known".

    Example:
        >>> duration(785), duration(45.2), duration(8040)
        ('13 min 05 s', '45 s', '2 h 14 min')
    """
    if seconds is None:
        return "not known"
    sign = MINUS if seconds < 0 else ""
    whole = round(abs(seconds))
    if whole < 60:
        return f"{sign}{whole}{_SPACE}s"
    if whole < 3600:
        rest = f" {whole % 60:02d}{_SPACE}s" if whole % 60 else ""
        return f"{sign}{whole // 60}{_SPACE}min{rest}"
    hours, minutes = divmod(round(whole / 60), 60)
    rest = f" {minutes:02d}{_SPACE}min" if minutes else ""
    return f"{sign}{hours}{_SPACE}h{rest}"
