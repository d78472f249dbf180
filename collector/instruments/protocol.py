# SPDX-License-Identifier: MIT
"""The small door through which all readings come, and the clock that stamps them.

Imports only the ground.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from collector.readings import Reading


@dataclass(frozen=True, slots=True)
class Delivery:
    """Readings that came together, and what must be told to their sender once they are kept.

    Attributes:
        readings: One or more readings, in order.
        receipt: Handed back to `Instrument.committed` after the commit; None if nobody waits.
    """

    readings: Sequence[Reading]
    receipt: object | None = None


class Instrument(Protocol):
    """A port, a broker, a simulated pot or a file: something that yields readings."""

    @property
    def name(self) -> str:
        """The name used in the log and as the series of what can't be read."""
        ...

    def deliveries(self) -> AsyncIterator[Delivery]:
        """Yield what comes, reconnecting by itself, until cancelled."""
        ...

    def committed(self, receipts: Sequence[object]) -> None:
        """Acknowledge to the sender, in order, what is now kept."""
        ...


class Clock(Protocol):
    """Where arrival times come from."""

    def now_ms(self) -> int:
        """Milliseconds since 1970-01-01T00:00:00Z, never going back within a run."""
        ...
