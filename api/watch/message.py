# SPDX-License-Identifier: MIT
"""One message that goes by a route, and what became of it. Pure."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

NOTICE, TEST, ALIVE, STOPPED = "notice", "test", "alive", "stopped"


@dataclass(frozen=True, slots=True)
class Message:
    """One message.

    Attributes:
        kind: "notice", "test", "alive" or "stopped".
        id: The same for the same cause, so that a receiver knows a repeat.
        kitchen: Who speaks.
        title: The head of the message.
        text: The message, whole by itself.
        priority: "low", "medium" or "high".
        at: When it was made, RFC 3339.
    """

    kind: str
    id: str
    kitchen: str
    title: str
    text: str
    priority: str
    at: str

    def as_json(self) -> dict[str, Any]:
        """Return what is sent where JSON is sent."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a message.

    Attributes:
        taken: The service took it.
        answer: What it said, secrets left out.
        gone: It says that the route is no more: nothing is ever to be sent by it again.
    """

    taken: bool
    answer: str
    gone: bool = False
