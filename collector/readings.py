# SPDX-License-Identifier: MIT
"""What one reading is. The ground: imports only the standard library."""

from __future__ import annotations

import enum
from dataclasses import dataclass, replace

FRAME_BYTES_KEPT = 256
# Absolute zero in the units in which temperatures come (SI brochure, definition of the kelvin).
_ABSOLUTE_ZERO = {"Cel": -273.15, "degC": -273.15, "K": 0.0, "degF": -459.67}


class Quality(enum.IntEnum):
    """How far a reading can be trusted; a bad reading is kept too, with its reason."""

    GOOD = 0
    SUSPECT = 1
    BAD = 2

    @property
    def word(self) -> str:
        """The word used on pages and in JSON."""
        return self.name.lower()


class TimeSource(enum.IntEnum):
    """Who set the time of a reading."""

    INSTRUMENT = 0
    ARRIVAL = 1


@dataclass(frozen=True, slots=True)
class Reading:
    """One value as the instrument said it.

    Attributes:
        series: Name of the series, SenML characters only.
        value: What was said, in `unit`; None for a bad reading.
        unit: The unit as said, as a SenML symbol or one of `collector.units`; "" if none was.
        time_ms: Time of the reading, milliseconds since 1970-01-01T00:00:00Z.
        time_source: Who set `time_ms`.
        arrival_ms: Time of arrival, same scale.
        quality: Good, suspect or bad.
        reason: Why it is not good; "" if good.
        boot: The instrument's own boot id, if it sends one.
        sequence: The instrument's own running number within `boot`, if it sends one.
        frame: The first 256 bytes of a frame that couldn't be read.
        redelivered: The transport said that this may be a repeat.
    """

    series: str
    value: float | None
    unit: str
    time_ms: int
    time_source: TimeSource
    arrival_ms: int
    quality: Quality = Quality.GOOD
    reason: str = ""
    boot: str | None = None
    sequence: int | None = None
    frame: bytes | None = None
    redelivered: bool = False


def doubted(reading: Reading) -> Reading:
    """Return a reading as suspect where its value can't be.

    Args:
        reading: As it was said.

    Returns:
        The same reading, or a suspect one with the reason.
    """
    coldest = _ABSOLUTE_ZERO.get(reading.unit)
    if coldest is None or reading.value is None or reading.quality is not Quality.GOOD:
        return reading
    if reading.value >= coldest:
        return reading
    return replace(reading, quality=Quality.SUSPECT, reason="colder than absolute zero")


def bad_reading(series: str, reason: str, frame: bytes, arrival_ms: int) -> Reading:
    """Return the reading that keeps a frame which couldn't be read.

    Args:
        series: The port's or topic's name.
        reason: Why it couldn't be read.
        frame: The bytes; the first 256 are kept.
        arrival_ms: When they came [ms since 1970 UTC].

    Returns:
        A reading of quality bad with value None.
    """
    return Reading(
        series=series,
        value=None,
        unit="",
        time_ms=arrival_ms,
        time_source=TimeSource.ARRIVAL,
        arrival_ms=arrival_ms,
        quality=Quality.BAD,
        reason=reason,
        frame=frame[:FRAME_BYTES_KEPT],
    )
