# SPDX-License-Identifier: MIT
"""What the log says of a broker: one line for each connection, loss and return, with counts.

Imports the log and paho's reason codes.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass

from paho.mqtt.reasoncodes import ReasonCode

from collector.log import say

_TOPICS_SAID = 1000
_TAKEN_OVER = 0x8E
_SHORT_S = 10.0
_SHORT_IN_A_ROW = 3


@dataclass(slots=True)
class Counts:
    """Since the connection was made."""

    messages: int = 0
    readings: int = 0
    bad: int = 0
    redelivered: int = 0
    retained: int = 0


class News:
    """Says what changes, once.

    Attributes:
        counts: Of this connection.
    """

    def __init__(
        self, log: logging.Logger, broker: str, steady_s: Callable[[], float] = time.monotonic
    ) -> None:
        """Begin unconnected.

        Args:
            log: Where to say it.
            broker: Its name.
            steady_s: A clock that is never set [s].
        """
        self.counts = Counts()
        self._log = log
        self._broker = broker
        self._steady_s = steady_s
        self._since_s = steady_s()
        self._connected = False
        self._tries = 0
        self._before = False
        self._cut_short = 0
        self._said: set[str] = set()
        self._topics: set[str] = set()

    def connected(self, *, session_present: bool) -> None:
        """The broker took us."""
        lost_session = self._before and not session_present
        say(
            self._log,
            "connected again" if self._before or self._tries else "connected",
            level=logging.WARNING if lost_session else logging.INFO,
            broker=self._broker,
            session_present=session_present,
            absent_s=round(self._steady_s() - self._since_s, 1),
            tries=self._tries,
            **_LOST_SESSION if lost_session else {},
        )
        self._since_s = self._steady_s()
        self._connected = self._before = True
        self._tries = 0
        self._said.clear()
        self.counts = Counts()

    def absent(self, what: str, do: str) -> None:
        """A try to connect failed; each reason is said once until it works."""
        self._tries += 1
        if what in self._said:
            return
        self._said.add(what)
        say(self._log, what, level=logging.WARNING, broker=self._broker, do=do)

    def subscribed(self, filters: Sequence[str], reasons: Sequence[ReasonCode]) -> None:
        """The broker answered to our subscriptions; what was not granted is an error."""
        for each, reason in zip(filters, reasons, strict=False):
            if reason.is_failure:
                what = f"the subscription is refused: {reason}"
                do = "Check the broker's access list; nothing comes by this filter."
            elif reason.value == 0:
                what = "the subscription is granted at QoS 0 only"
                do = "Allow QoS 1 at the broker: what is sent while we are away is lost."
            else:
                continue
            say(self._log, what, level=logging.ERROR, broker=self._broker, filter=each, do=do)

    def failed(self, where: str, error: Exception) -> None:
        """Something of ours failed in the client's thread."""
        text = f"{type(error).__name__}: {error}"
        say(self._log, f"a fault {where}", level=logging.ERROR, broker=self._broker, error=text)

    def stuck(self, messages: int, *, stray: bool) -> None:
        """Messages wait, and none is acknowledged."""
        say(
            self._log,
            "messages wait unacknowledged",
            level=logging.WARNING,
            broker=self._broker,
            messages=messages,
            why="one was lost here: the broker is asked again" if stray else "the store",
        )

    def lost(self, reason: str, *, unacknowledged: int, wanted: bool) -> None:
        """The connection ended."""
        if not self._connected:
            return
        self._connected = False
        connected_s = self._steady_s() - self._since_s
        self._cut_short = self._cut_short + 1 if connected_s < _SHORT_S else 0
        say(
            self._log,
            "disconnected" if wanted else "connection lost",
            level=logging.INFO if wanted else logging.WARNING,
            broker=self._broker,
            reason=reason,
            connected_s=round(connected_s, 1),
            unacknowledged=unacknowledged,
            **asdict(self.counts),
        )
        self._since_s = self._steady_s()

    def taken_over(self, reason: ReasonCode) -> bool:
        """Return whether another client with our id seems to have ended the connection.

        MQTT 5 has a reason for it, which not every broker sends (Mosquitto 2.0.11 doesn't); so
        several short connections in a row are taken for the same.
        """
        if reason.value != _TAKEN_OVER and self._cut_short < _SHORT_IN_A_ROW:
            return False
        what = "another client seems to use our client_id"
        self.absent(what, "Give each collector a client_id of its own.")
        return True

    def retained(self, topic: str) -> None:
        """A retained message came: old by definition, and kept nowhere."""
        self.counts.retained += 1
        if topic in self._topics or len(self._topics) >= _TOPICS_SAID:
            return
        self._topics.add(topic)
        say(
            self._log,
            "a retained message is not taken for a reading",
            broker=self._broker,
            topic=topic,
        )


_LOST_SESSION: dict[str, object] = {
    "lost": "the broker forgot our session and what it had queued for us",
    "do": "Set persistence true in the broker's settings.",
}
