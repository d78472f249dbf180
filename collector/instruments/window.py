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
        kept: Whether it may be acknowledged.
    """

    packet_id: int
    epoch: int
    kept: bool = False


class Window:
    """The messages of one connection that are not acknowledged yet.

    Attributes:
        epoch: The number of the connection; 0 before the first.
        open: Whether that connection stands.
        dropped: Acknowledgements left out because their connection was gone.
    """

    def __init__(self) -> None:
        self.epoch = 0
        self.open = False
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
        return ready
