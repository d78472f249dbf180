# SPDX-License-Identifier: MIT
"""Readings from an MQTT broker: acknowledged after they are committed, in order of arrival.

Imports the ground, the frames, paho and its neighbours here. The client's own thread decodes and
hands on, and does nothing that could block; an exception in it would end the thread while the
client went on saying that it is connected.
"""

from __future__ import annotations

import asyncio
import logging
import threading
import time
from collections.abc import AsyncGenerator, Awaitable, Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from collector.frames.protocol import unreadable
from collector.instruments.inbox import Inbox
from collector.instruments.mqtt_link import (
    RECONNECT_FIRST_S,
    RECONNECT_LAST_S,
    BrokerSettings,
    hang_up,
    hear_out,
    let_go,
    make_client,
    start,
    subscribe,
)
from collector.instruments.mqtt_news import News
from collector.instruments.mqtt_topics import Remembered, Routes, Subscription
from collector.instruments.protocol import Clock, Delivery
from collector.instruments.window import Place, StuckWatch, Window
from collector.log import say
from collector.readings import Quality, Reading

# Brokers may send more than our Receive Maximum: Mosquitto 2.0.11 with 32 had up to 2685 messages
# out once acknowledgements flowed. Beyond this many the stream is slowed down to a trickle.
WINDOW_LIMIT = 10_000
_SLOW_S = 0.5
_LOOK_EVERY_S = 1.0
_log = logging.getLogger(__name__)


_Came = tuple[list[Reading], Place | None]


class MqttInstrument:
    """One broker; it is connected to again by itself for as long as it takes.

    Attributes:
        window: What waits to be acknowledged.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        subscriptions: Sequence[Subscription],
        clock: Clock,
        *,
        memory: Path | None = None,
        pause: Callable[[float], Awaitable[None]] = asyncio.sleep,
        stuck_s: float = 60.0,
    ) -> None:
        """Be ready to connect.

        Args:
            settings: How the broker is reached.
            subscriptions: What to subscribe to; no topic may fit two of them.
            clock: Stamps what comes.
            memory: Where the filters of the session are remembered; None for nowhere.
            pause: Waits that many seconds.
            stuck_s: After so long without an acknowledgement, waiting messages are looked into [s].
        """
        self._settings = settings
        self._routes = Routes(subscriptions)
        self._clock = clock
        self._memory = Remembered(memory)
        self._pause = pause
        self._stuck_s = stuck_s
        self._news = News(_log, self.name)
        self._lock = threading.RLock()  # the client may call back while it acknowledges
        self._thread: threading.Thread | None = None
        self._leaving = False
        self._room = threading.Event()
        self._inbox: Inbox[_Came] | None = None
        self._client: Client | None = None
        self.window = Window()

    @property
    def name(self) -> str:
        """The broker's address."""
        return f"mqtt://{self._settings.host}:{self._settings.port}"

    @property
    def client(self) -> Client:
        """The client of the running `deliveries`."""
        assert self._client is not None, "deliveries() was not begun"
        return self._client

    async def deliveries(self) -> AsyncGenerator[Delivery, None]:
        """Yield what comes, until closed; all that has come at once in one delivery."""
        self._inbox = Inbox(asyncio.get_running_loop())
        self._leaving = False
        watch = asyncio.create_task(self._watch(), name=f"watch {self.name}")
        try:
            self._begin()
            while True:
                came = await self._inbox.take()
                readings = [reading for of_message, _ in came for reading in of_message]
                places = tuple(place for _, place in came if place is not None)
                yield Delivery(readings, places or None)
        finally:
            self._leaving = True
            watch.cancel()
            if self._client is not None and not await let_go(self._client):
                say(_log, "the broker does not let go", level=logging.WARNING, broker=self.name)
            with self._lock:
                self.window.lost()
                self._client = None  # it closes what it holds once nobody refers to it

    def committed(self, receipts: Sequence[object]) -> None:
        """Acknowledge the messages of these deliveries, in the order of their arrival."""
        self._acknowledge(place for each in receipts for place in _places(each))

    def _acknowledge(self, places: Iterable[Place]) -> None:
        # Under the lock no connection begins or ends, so that no acknowledgement can slip from
        # one connection into the next: there the same number may mean another message.
        with self._lock:
            for packet_id in self.window.keep(places):
                self.client.ack(packet_id, 1)
            if len(self.window) <= WINDOW_LIMIT:
                self._room.set()

    def _begin(self) -> None:
        """Connect by a new client."""
        client = make_client(self._settings)
        client.on_pre_connect = self._on_pre_connect
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_unsubscribe = self._on_unsubscribe
        client.on_message = self._on_message
        with self._lock:
            self.window.lost()
            self._client = client
            self._thread = None
        start(client, self._settings)

    # What follows is called in the client's thread. Nothing may be raised there.

    def _on_pre_connect(self, client: Client, userdata: object) -> None:
        self._thread = threading.current_thread()
        with self._lock:
            self.window.lost()

    def _on_connect(
        self,
        client: Client,
        userdata: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        try:
            if reason.is_failure:
                do = "Check client_id, username and password, and the broker's access list."
                self._news.absent(f"the broker refuses the connection: {reason}", do)
                return
            with self._lock:
                self.window.connected()
            self._news.connected(session_present=flags.session_present)
            gone = self._memory.gone(self._routes.filters)
            self._memory.keep([*self._routes.filters, *gone])
            subscribe(client, self._routes.filters)
            if gone:
                client.unsubscribe(gone)
            if self._settings.status_topic is not None:
                client.publish(self._settings.status_topic, "online", qos=1, retain=True)
        except Exception as error:
            self._news.failed("after connecting", error)

    def _on_connect_fail(self, client: Client, userdata: object) -> None:
        do = "Check that it runs, and host and port; it is tried again all the time."
        self._news.absent("the broker can not be reached", do)

    def _on_disconnect(
        self,
        client: Client,
        userdata: object,
        flags: DisconnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        try:
            with self._lock:
                was_open = self.window.open
                self.window.lost()
                waiting = len(self.window)
            self._news.lost(str(reason), unacknowledged=waiting, wanted=self._leaving)
            if self._leaving:
                hear_out(client)
            taken_over = self._news.taken_over(reason)
            if was_open:  # two that take over from each other must not do so all the time
                first_s = RECONNECT_LAST_S if taken_over else RECONNECT_FIRST_S
                client.reconnect_delay_set(first_s, RECONNECT_LAST_S)
        except Exception as error:
            self._news.failed("after a disconnection", error)

    def _on_subscribe(
        self,
        client: Client,
        userdata: object,
        packet_id: int,
        reasons: Sequence[ReasonCode],
        properties: Properties | None,
    ) -> None:
        try:
            self._news.subscribed(self._routes.filters, reasons)
        except Exception as error:
            self._news.failed("after subscribing", error)

    def _on_unsubscribe(self, *_: object) -> None:
        self._memory.keep(self._routes.filters)

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        try:
            place = None
            if message.qos > 0:
                with self._lock:
                    place = self.window.arrived(message.mid)
            readings = self._readings(message)
            if place is not None:
                place.taken = True
            if readings and self._inbox is not None:
                self._inbox.put((readings, place))
            elif place is not None:
                self._acknowledge([place])
            if len(self.window) > WINDOW_LIMIT:
                self._room.clear()
                self._room.wait(_SLOW_S)  # short, so that signs of life still go out
        except Exception as error:  # not acknowledged: the watch sees to it
            self._news.failed("with a message", error)

    def _readings(self, message: MQTTMessage) -> list[Reading]:
        self._news.counts.messages += 1
        arrival_ms = self._clock.now_ms()
        payload = bytes(message.payload)
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return unreadable(self.name, "the topic is not UTF-8", payload, arrival_ms)
        if message.retain:
            self._news.retained(topic)
            return []
        readings = self._routes.decode(topic, payload, arrival_ms)
        if message.dup:
            self._news.counts.redelivered += 1
            readings = [replace(reading, redelivered=True) for reading in readings]
        self._news.counts.readings += len(readings)
        self._news.counts.bad += sum(each.quality is Quality.BAD for each in readings)
        return readings

    # What follows is called in the event loop.

    async def _watch(self) -> None:
        stuck = StuckWatch(self._stuck_s)
        while True:
            await self._pause(_LOOK_EVERY_S)
            self._revive()
            with self._lock:
                is_stuck = stuck.look(self.window, time.monotonic())
                stray, waiting = self.window.stray(), len(self.window)
            if not is_stuck:
                continue
            self._news.stuck(waiting, stray=stray)
            if stray:
                hang_up(self.client)

    def _revive(self) -> None:
        """Begin again if the client's thread has ended; it tells nobody when it does."""
        if self._thread is None or self._thread.is_alive() or self._leaving:
            return
        say(_log, "the network thread ended", level=logging.ERROR, broker=self.name)
        self._news.lost("the network thread ended", unacknowledged=len(self.window), wanted=False)
        self._begin()


def _places(receipt: object) -> tuple[Place, ...]:
    assert isinstance(receipt, tuple)
    return receipt
