# SPDX-License-Identifier: MIT
"""Hands one message to whatever its route's address names, in the thread that calls.

A broker is published at by our own publisher, a browser is pushed to, and everything else is
apprise's. Knows no database.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from api.watch.message import Message, Outcome
from api.watch.mqtt_route import SCHEMES as MQTT_SCHEMES
from api.watch.mqtt_route import read_address, send_by_mqtt
from api.watch.push_route import send_by_push
from api.watch.sending import check_address as check_at_apprise
from api.watch.sending import send
from api.watch.subscription import SCHEME as PUSH_SCHEME
from api.watch.subscription import is_push
from collector.errors import RecordError


@dataclass(frozen=True, slots=True)
class Sender:
    """Who sends.

    Attributes:
        data_dir: Where the kitchen's key for Web Push lies.
        contact: Whom a push service may write to.
    """

    data_dir: Path
    contact: str

    def send(self, address: str, message: Message) -> Outcome:
        """Send one message and wait for the answer; any fault of the service is an outcome.

        Args:
            address: Of the route.
            message: What is sent.
        """
        if is_push(address):
            return send_by_push(address, message, self.data_dir, self.contact)
        if _scheme(address) in MQTT_SCHEMES:
            return send_by_mqtt(address, message)
        return send(address, message.title, message.text, urgent=message.priority == "high")


def check_address(address: str) -> None:
    """Check that notices can be sent to an address; nothing is sent.

    Raises:
        RecordError: It can't be read; the message holds no secret.
    """
    if _scheme(address) == PUSH_SCHEME:
        raise RecordError(
            "A browser's subscription is not written as an address.",
            where="address",
            do="Open the Stove page on that device and press 'Call this device'.",
        )
    if _scheme(address) in MQTT_SCHEMES:
        read_address(address)
    else:
        check_at_apprise(address)


def _scheme(address: str) -> str:
    return address.partition("://")[0].strip().lower()
