# SPDX-License-Identifier: MIT
"""A decoder whose readings are checked for values known to be false. Pure; imports the frames."""

from __future__ import annotations

from dataclasses import dataclass

from collector.frames.onewire import FalseReadingGuard
from collector.frames.protocol import Decoder
from collector.readings import Reading


@dataclass(frozen=True, slots=True)
class GuardedDecoder:
    """Decodes, then marks false readings, series by series in the order in which they came.

    Attributes:
        decoder: Makes readings of a frame.
        guard: Knows the false readings of the kind of probe.
    """

    decoder: Decoder
    guard: FalseReadingGuard

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Return the readings of one frame, checked; see `Decoder.decode`."""
        readings = self.decoder.decode(data, channel=channel, arrival_ms=arrival_ms)
        return [self.guard.check(reading) for reading in readings]


def guarded(decoder: Decoder, guard: FalseReadingGuard | None) -> Decoder:
    """Return the decoder with its guard, or as it is where there is none."""
    return decoder if guard is None else GuardedDecoder(decoder, guard)
