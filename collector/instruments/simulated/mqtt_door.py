# SPDX-License-Identifier: MIT
"""A virtual instrument that publishes SenML packs to an MQTT broker.

Must not import `api`. What is published while the broker is away waits in memory and goes out
when it is back; the broker keeps it for the collector (QoS 1).
"""

from __future__ import annotations

import threading
import uuid
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from collector.errors import InstrumentLostError
from collector.instruments.simulated.channels import Said
from collector.instruments.simulated.senml_pack import senml_pack

SESSION_EXPIRY_S = 86_400
FINISH_S = 10.0


class MqttProbe:
    """A virtual probe or scale on an MQTT topic.

    Attributes:
        boot: Its boot id, in every pack.
        sequence: Running number of the last reading.
        refused: How many packs the broker didn't allow.
    """

    def __init__(self, topic: str, *, port: int, host: str = "127.0.0.1", boot: str = "") -> None:
        """Begin to connect; it goes on trying until it is closed.

        Args:
            topic: What it publishes to.
            port: Of the broker.
            host: Of the broker.
            boot: Boot id; made up if empty.
        """
        self.boot = boot or uuid.uuid4().hex[:12]
        self.sequence = 0
        self._topic = topic
        self.refused = 0
        self._answered = 0
        self._changed = threading.Condition()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"virtual-{uuid.uuid4().hex[:12]}",
            protocol=mqtt.MQTTv5,
        )
        self._client.on_publish = self._acknowledged
        self._client.reconnect_delay_set(1, 5)
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = SESSION_EXPIRY_S
        self._client.connect_async(
            host, port, keepalive=15, clean_start=False, properties=properties
        )
        self._client.loop_start()

    @property
    def connected(self) -> bool:
        """Whether the broker has accepted it."""
        return self._client.is_connected()

    @property
    def waiting(self) -> int:
        """How many packs the broker hasn't acknowledged yet."""
        return self.sequence - self._answered

    def say(self, said: Said) -> None:
        """Publish a reading, in a pack of its own."""
        self.sequence += 1
        pack = senml_pack([(self.sequence, said)], self.boot)
        self._client.publish(self._topic, pack, qos=1)

    def pump(self) -> None:
        """Nothing to do: packs go out by themselves."""

    def _acknowledged(self, *answer: Any) -> None:
        with self._changed:
            self._answered += 1
            self.refused += bool(answer[3].is_failure)
            self._changed.notify_all()

    def close(self, finish_s: float = FINISH_S) -> None:
        """Wait until the broker has all, and disconnect.

        Args:
            finish_s: How long to wait at most [s].

        Raises:
            InstrumentLostError: The broker hasn't got all of it by then.
        """
        with self._changed:
            self._changed.wait_for(lambda: self.waiting == 0, finish_s)
        left = self.waiting
        self._client.disconnect()
        self._client.loop_stop()
        if left:
            raise InstrumentLostError(
                f"{left} readings were never acknowledged by the broker.",
                where=self._topic,
                do="Start the broker before the virtual instrument is closed.",
            )
