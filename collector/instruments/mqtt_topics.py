# SPDX-License-Identifier: MIT
"""Which subscription a message belongs to, and which ones the broker still remembers.

Imports the frames and paho's matching of topics; no I/O but one small file.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from paho.mqtt.client import topic_matches_sub

from collector.frames.protocol import Decoder, unreadable
from collector.readings import Reading

_TOPICS_REMEMBERED = 10_000


@dataclass(frozen=True, slots=True)
class Subscription:
    """What is subscribed to.

    Attributes:
        filter: A topic filter.
        decoder: Makes readings of its messages.
    """

    filter: str
    decoder: Decoder


class _Stranger:
    """Keeps what comes by a topic that no filter asks for any more."""

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Return one bad reading."""
        return unreadable(channel, "no topic filter asks for this topic", data, arrival_ms)


class Routes:
    """From a topic to the decoder of the subscription that it belongs to."""

    def __init__(self, subscriptions: Sequence[Subscription]) -> None:
        """Take the subscriptions of one broker; no topic fits two of them."""
        self.filters = [each.filter for each in subscriptions]
        self._subscriptions = subscriptions
        self._found: dict[str, Decoder] = {}

    def decode(self, topic: str, payload: bytes, arrival_ms: int) -> list[Reading]:
        """Return the readings of a message; a decoder with a fault of its own costs no frame."""
        try:
            return self._decoder(topic).decode(payload, channel=topic, arrival_ms=arrival_ms)
        except Exception as error:
            return unreadable(topic, f"the decoder failed: {error!r}", payload, arrival_ms)

    def _decoder(self, topic: str) -> Decoder:
        found = self._found.get(topic)
        if found is None:
            matching = (
                s.decoder for s in self._subscriptions if topic_matches_sub(s.filter, topic)
            )
            found = next(matching, _Stranger())
            if len(self._found) < _TOPICS_REMEMBERED:
                self._found[topic] = found
        return found


class Remembered:
    """The filters that the broker's session still holds, in a file across runs.

    A filter that was taken out of the configuration stays in the session until it is given up, and
    beside a new one it would bring messages twice.
    """

    def __init__(self, path: Path | None) -> None:
        """Remember in `path`; None remembers nothing."""
        self._path = path

    def gone(self, filters: Iterable[str]) -> list[str]:
        """Return the remembered filters that are not among these."""
        found: object = []
        if self._path is not None:
            with suppress(OSError, ValueError):
                found = json.loads(self._path.read_text("utf-8"))
        if not isinstance(found, list):
            return []
        return sorted({each for each in found if isinstance(each, str)} - set(filters))

    def keep(self, filters: Sequence[str]) -> None:
        """Remember these. A disk that is full costs only the memory."""
        if self._path is None or self.gone([]) == sorted(filters):
            return
        with suppress(OSError):
            fresh = self._path.with_name(self._path.name + ".new")
            fresh.write_text(json.dumps(sorted(filters)), "utf-8")
            fresh.replace(self._path)
