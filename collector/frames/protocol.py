# SPDX-License-Identifier: MIT
"""What every decoder of frames can do. Pure: imports only the ground."""

from __future__ import annotations

from typing import Protocol

from collector.frames.names import as_series
from collector.readings import FRAME_BYTES_KEPT, Quality, Reading, TimeSource, bad_reading


class Decoder(Protocol):
    """Turns one frame into readings; never raises for what came from outside."""

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Return the readings of one frame.

        Args:
            data: The frame: one line without its end, or one payload.
            channel: The port or topic that it came by.
            arrival_ms: When it came [ms since 1970 UTC].

        Returns:
            The readings in order; one bad reading, under the channel's name, if the frame can't
            be read; an empty list if it says nothing (a SenML pack of base fields only).
        """
        ...


def unreadable(channel: str, reason: str, data: bytes, arrival_ms: int) -> list[Reading]:
    """Return the one bad reading that keeps a frame which can't be read.

    Args:
        channel: The port or topic; characters that no series name may hold become "_".
        reason: Why it can't be read.
        data: The frame; its first 256 bytes are kept.
        arrival_ms: When it came [ms since 1970 UTC].

    Returns:
        A list of one.
    """
    return [bad_reading(as_series(channel), reason, bytes(data), arrival_ms)]


def arrived(
    series: str,
    value: float | None,
    unit: str,
    arrival_ms: int,
    *,
    quality: Quality = Quality.GOOD,
    reason: str = "",
    frame: bytes | None = None,
) -> Reading:
    """Return a reading whose time is that of its arrival.

    Args:
        series: Its name.
        value: What was said [unit]; left out if the quality is bad.
        unit: As said.
        arrival_ms: When it came [ms since 1970 UTC].
        quality: How far it can be trusted.
        reason: Why not fully.
        frame: The bytes; kept, up to 256, if the quality is bad.

    Returns:
        The reading.
    """
    bad = quality is Quality.BAD
    return Reading(
        series=series,
        value=None if bad else value,
        unit=unit,
        time_ms=arrival_ms,
        time_source=TimeSource.ARRIVAL,
        arrival_ms=arrival_ms,
        quality=quality,
        reason=reason,
        frame=bytes(frame[:FRAME_BYTES_KEPT]) if bad and frame is not None else None,
    )
