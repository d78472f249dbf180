# SPDX-License-Identifier: MIT
"""The connection to an MQTT 5 broker: how the client is made, connected and let go.

Imports paho and the standard library.

Source: MQTT Version 5.0, OASIS Standard, 2019, sections 3.1.2.11.2 (session expiry), 3.1.2.11.3
(receive maximum), 3.8.3.1 (retain handling): second hand and from memory; paho-mqtt 2.2 behaviour
as tried in tests/e2e/test_mqtt.py.
"""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

RECONNECT_FIRST_S = 1
RECONNECT_LAST_S = 30
_HANG_UP_S = 1.0


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """How a broker is reached, and how it is to treat us.

    Attributes:
        host: Its name or address.
        port: Its port.
        client_id: Ours; the broker keeps under it what comes while we are away.
        username: None to give none.
        password: None to give none.
        tls: Whether to speak TLS and verify the broker's certificate.
        tls_ca_file: Who may have signed it; None takes the system's list.
        session_expiry_s: How long the broker keeps our session while we are away [s].
        receive_maximum: How many messages it may send before we acknowledge the first.
        keepalive_s: How often we give a sign of life [s].
        status_topic: Where "online" and "offline" are told, retained; None tells nobody.
    """

    host: str
    port: int
    client_id: str
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    tls_ca_file: str | None = None
    session_expiry_s: int = 604_800
    receive_maximum: int = 32
    keepalive_s: int = 30
    status_topic: str | None = None


def make_client(settings: BrokerSettings) -> Client:
    """Return a client that acknowledges only when told to; it isn't connected yet."""
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=settings.client_id,
        protocol=MQTTv5,
        manual_ack=True,
    )
    client.reconnect_delay_set(RECONNECT_FIRST_S, RECONNECT_LAST_S)
    if settings.username is not None:
        client.username_pw_set(settings.username, settings.password)
    if settings.tls:
        client.tls_set(ca_certs=settings.tls_ca_file)
    if settings.status_topic is not None:
        client.will_set(settings.status_topic, "offline", qos=1, retain=True)
    return client


def start(client: Client, settings: BrokerSettings) -> None:
    """Begin to connect, in the client's own thread, again and again until it works.

    Clean Start is never set: with the library's default the first connection after each start
    would throw away what the broker kept while we were away.
    """
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # as paho has it
    properties.SessionExpiryInterval = settings.session_expiry_s
    properties.ReceiveMaximum = settings.receive_maximum
    client.connect_async(
        settings.host,
        settings.port,
        keepalive=settings.keepalive_s,
        clean_start=False,
        properties=properties,
    )
    client.loop_start()


def subscribe(client: Client, filters: Sequence[str]) -> None:
    """Ask for all filters at QoS 1, without retained messages: those are old by definition."""
    options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
    client.subscribe([(each, options) for each in filters])


def hang_up(client: Client) -> None:
    """Break the connection as a pulled cable would; the client connects again by itself."""
    connection = client.socket()
    if isinstance(connection, socket.socket):
        with suppress(OSError):
            connection.shutdown(socket.SHUT_RDWR)


def hear_out(client: Client) -> None:
    """Read until the broker has closed the connection, in the client's thread, after our goodbye.

    A connection that is closed with unread messages in it is reset, and a reset makes the broker
    drop what it has not read: our last acknowledgements, and the goodbye itself.
    """
    connection = client.socket()
    if not isinstance(connection, socket.socket):
        return
    end_s = time.monotonic() + _HANG_UP_S / 2
    with suppress(OSError):
        while (left_s := end_s - time.monotonic()) > 0:
            connection.settimeout(left_s)
            if not connection.recv(65_536):
                return


async def let_go(client: Client) -> bool:
    """Disconnect in good order; acknowledgements that were given before go out first.

    The broker is asked to publish our will, so that the status topic says "offline".

    Returns:
        Whether the client's thread ended; a broker that doesn't answer is not waited for long.
    """
    client.disconnect(reasoncode=ReasonCode(PacketTypes.DISCONNECT, "Disconnect with will message"))
    ender = threading.Thread(target=client.loop_stop, name="mqtt end", daemon=True)
    ender.start()
    for _ in range(2):
        await asyncio.to_thread(ender.join, _HANG_UP_S / 2)
        if not ender.is_alive():
            return True
        hang_up(client)
    return False
