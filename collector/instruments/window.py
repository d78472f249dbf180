# SPDX-License-Identifier: MIT
"""Which messages the broker waits to see acknowledged, in the order of their arrival.

Pure bookkeeping: no client, no clock; imports nothing. MQTT 5 requirement MQTT-4.6.0-2 (clause
text seen quoted, not in the standard itself): a receiver acknowledges in the order of arrival.
Packet ids are reused after a session was lost, so an acknowledgement that belongs to an earlier
connection must never be sent on a later one: it would acknowledge another message.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(slots=True, eq=False)
class Place:
    """One message's place in the order.

    Attributes:
        packet_id: The broker's number for it on this connection.
        epoch: The connection by which it came.
        taken: Whether it was handed on, so that somebody will say when it is kept.
        kept: Whether it may be acknowledged.
    """

    packet_id: int
    epoch: int
    taken: bool = False
    kept: bool = False


class Window:
    """The messages of one connection that are not acknowledged yet.

    Attributes:
        epoch: The number of the connection; 0 before the first.
        open: Whether that connection stands.
        acknowledged: Messages of all connections that were acknowledged.
        dropped: Acknowledgements left out because their connection was gone.
    """

    def __init__(self) -> None:
        self.epoch = 0
        self.open = False
        self.acknowledged = 0
        self.dropped = 0
        self._places: deque[Place] = deque()

    def __len__(self) -> int:
        return len(self._places)

    def connected(self) -> None:
        """Begin a new connection: the broker sends again what the last one left open."""
        self.epoch += 1
        self.open = True
        self._places.clear()

    def lost(self) -> None:
        """The connection is gone; nothing may be acknowledged until the next."""
        self.open = False

    def arrived(self, packet_id: int) -> Place:
        """Give the message that has just come its place."""
        place = Place(packet_id, self.epoch)
        self._places.append(place)
        return place

    def keep(self, places: Iterable[Place]) -> list[int]:
        """Note that messages are kept.

        Args:
            places: Their places.

        Returns:
            The packet ids to acknowledge now, in order: those up to the first that isn't kept.
        """
        for place in places:
            place.kept = True
            self.dropped += place.epoch != self.epoch or not self.open
        ready: list[int] = []
        while self.open and self._places and self._places[0].kept:
            ready.append(self._places.popleft().packet_id)
        self.acknowledged += len(ready)
        return ready

    def stray(self) -> bool:
        """Return whether the message at the head was never handed on: nobody will keep it."""
        return bool(self._places) and not self._places[0].taken


class StuckWatch:
    """Notices that messages wait and none is acknowledged, with growing patience."""

    def __init__(self, first_s: float = 60.0, last_s: float = 3600.0) -> None:
        """Begin.

        Args:
            first_s: So long without progress is stuck [s].
            last_s: The patience doubles each time, up to this [s].
        """
        self._first_s = self._patience_s = first_s
        self._last_s = last_s
        self._acknowledged = -1
        self._since_s = 0.0

    def look(self, window: Window, now_s: float) -> bool:
        """Return whether it is time to say, or do, something.

        Args:
            window: The messages that wait.
            now_s: The time, on a steady clock [s].
        """
        if window.acknowledged != self._acknowledged or not len(window):
            self._acknowledged = window.acknowledged
            self._since_s = now_s
            self._patience_s = self._first_s
            return False
        if now_s - self._since_s < self._patience_s:
            return False
        self._since_s = now_s
        self._patience_s = min(2 * self._patience_s, self._last_s)
        return True
