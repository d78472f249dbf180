# SPDX-License-Identifier: MIT
"""What the forwarding stands between: the kitchen's own file and a central engine.

Imports only the ground and the shapes of the store.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from collector.readings import Reading
from collector.store.protocol import Arrived


class Tail(Protocol):
    """The kitchen's own file, as far as it is needed here."""

    def since(self, arrival: int, limit: int) -> Sequence[Arrived]:
        """Return up to `limit` readings that arrived after number `arrival`."""
        ...

    def last_arrival(self) -> int:
        """Return the highest arrival number so far, 0 if none."""
        ...

    def cursor(self, name: str) -> int:
        """Return the arrival number up to which `name` has read, 0 at first."""
        ...

    def set_cursor(self, name: str, arrival: int) -> None:
        """Keep how far `name` has read."""
        ...


class Engine(Protocol):
    """A central engine; every call but `close` may raise EngineLostError."""

    def write(self, lines: bytes) -> int:
        """Write lines; return how many were dropped as older than the engine keeps any."""
        ...

    def run_id(self) -> str | None:
        """Return what changes when the engine is begun anew, None if it doesn't tell."""
        ...

    def shows(self, reading: Reading) -> bool | None:
        """Tell whether a reading can be read back, None if it isn't known."""
        ...

    def close(self) -> None:
        """Let go of the connection."""
        ...


@dataclass(slots=True)
class Total:
    """What became of the readings since the start.

    Attributes:
        sent: Readings written for the first time in this run.
        sent_again: Readings written once more after a loss.
        left_out: Bad readings and others that are no number or have no possible time.
        too_old: Readings that the engine dropped because they are older than it keeps any.
    """

    sent: int = 0
    sent_again: int = 0
    left_out: int = 0
    too_old: int = 0
