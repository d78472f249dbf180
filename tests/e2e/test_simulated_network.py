# SPDX-License-Identifier: MIT
"""Virtual instruments over a network: a real Mosquitto, a real HTTP server."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise
from typing import Any, Protocol

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.errors import InstrumentLostError
from collector.frames.senml import SenmlDecoder
from collector.instruments.simulated.scenario import fern_lane
from collector.instruments.simulated.virtual import (
    HttpProbe,
    LiveKitchen,
    LivePot,
    MqttProbe,
    Said,
    pot_before,
)

pytestmark = pytest.mark.e2e

NOW_MS = 1_767_254_400_000


class Until(Protocol):
    """Waits for a fact."""

    def __call__(self, fact: Callable[[], object], what: str, deadline_s: float = 20.0) -> None:
        """Wait."""


class Broker(Protocol):
    """A running Mosquitto."""

    port: int

    def stop(self) -> None:
        """End it."""

    def start(self) -> None:
        """Start it again."""


@pytest.fixture
def pot() -> LivePot:
    return LivePot(fern_lane("small"), 3, NOW_MS)


def said(value: float, time_ms: int = NOW_MS) -> Said:
    return Said("milk", "small/milk", time_ms, value, "Cel", 0.0625)


@pytest.fixture
def subscriber(mosquitto: Callable[..., Broker]) -> Iterator[tuple[Broker, list[bytes]]]:
    broker = mosquitto(persistence=True)
    heard: list[bytes] = []
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2, client_id=f"t-{uuid.uuid4().hex}", clean_session=False
    )
    subscribed = threading.Event()

    def on_connect(client: mqtt.Client, *_: Any) -> None:
        client.subscribe("fern/#", qos=1)

    client.on_connect = on_connect
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_message = lambda _client, _data, message: heard.append(bytes(message.payload))
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    assert subscribed.wait(20.0)
    yield broker, heard
    client.disconnect()
    client.loop_stop()


def values_of(packs: list[bytes]) -> list[tuple[str | None, int | None, int, float | None]]:
    decoder = SenmlDecoder()
    readings = [
        reading
        for pack in packs
        for reading in decoder.decode(pack, channel="topic", arrival_ms=NOW_MS)
    ]
    return [(r.boot, r.sequence, r.time_ms, r.value) for r in readings]


def test_a_live_kitchen_publishes_to_a_real_broker(
    subscriber: tuple[Broker, list[bytes]], pot: LivePot, until: Until
) -> None:
    broker, heard = subscriber
    probe = MqttProbe("fern/small/milk", port=broker.port, boot="b1")
    kitchen = LiveKitchen([pot], speed=50.0)
    kitchen.connect("small", "milk", probe)
    with kitchen:
        until(lambda: len(heard) >= 40, "40 packs came")

    until(lambda: len(heard) >= probe.sequence, "every pack came")
    found = values_of(heard)
    assert [row[0] for row in found] == ["b1"] * len(found)
    assert [row[1] for row in found] == list(range(1, probe.sequence + 1))
    assert all(later[2] > earlier[2] for earlier, later in pairwise(found))
    assert found[0][3] == pytest.approx(18.0, abs=0.3)


def test_what_is_said_while_the_broker_is_away_comes_later(
    subscriber: tuple[Broker, list[bytes]], until: Until
) -> None:
    broker, heard = subscriber
    probe = MqttProbe("fern/small/milk", port=broker.port, boot="b1")
    probe.say(said(80.0, time_ms=NOW_MS))
    until(lambda: probe.waiting == 0, "the first was acknowledged")
    broker.stop()
    for number in range(1, 6):
        probe.say(said(80.0 - number, time_ms=NOW_MS + 1000 * number))
    assert probe.waiting == 5
    broker.start()
    until(lambda: probe.waiting == 0, "all were acknowledged")
    until(lambda: len({row[1] for row in values_of(heard)}) == 6, "all came", 30.0)
    probe.close()

    assert {row[3] for row in values_of(heard)} == {80.0, 79.0, 78.0, 77.0, 76.0, 75.0}


class Server:
    """An HTTP server that keeps what is posted, and fails when it is told to."""

    def __init__(self) -> None:
        self.posted: list[tuple[str, str, bytes]] = []
        self.answers: list[int] = []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                status = outer.answers.pop(0) if outer.answers else 200
                if status < 300:
                    outer.posted.append((self.path, self.headers["Content-Type"], body))
                self.send_response(status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End it."""
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


@pytest.fixture
def server() -> Iterator[Server]:
    running = Server()
    yield running
    running.stop()


def test_a_live_kitchen_posts_over_http(server: Server, until: Until) -> None:
    pot, before = pot_before(fern_lane("small"), "target", 30.0, now_ms=NOW_MS)
    probe = HttpProbe(server.url, boot="b2")
    for one in before:
        probe.say(one)
    kitchen = LiveKitchen([pot], speed=20.0)
    for place in pot.places:
        kitchen.connect("small", place, probe)
    with kitchen:
        until(lambda: "addition" in pot.events_ms, "the coagulant went in")

    found = values_of([body for _, _, body in server.posted])
    assert {row[:2] for row in server.posted} == {("/v1/readings", "application/senml+json")}
    assert sorted(row[1] or 0 for row in found) == list(range(1, probe.sequence + 1))
    assert probe.kept == probe.sequence > len(before)


def test_a_post_is_tried_again_until_it_is_kept_and_a_refused_one_is_set_aside(
    server: Server, until: Until
) -> None:
    server.answers = [503, 429, 200, 400]
    probe = HttpProbe(server.url)
    probe.say(said(80.0, time_ms=NOW_MS))
    until(lambda: probe.kept == 1, "the first was kept")
    probe.say(said(79.0, time_ms=NOW_MS + 1000))
    until(lambda: probe.refused, "the second was refused")
    probe.say(said(78.0, time_ms=NOW_MS + 2000))
    probe.close()

    assert [row[3] for row in values_of([body for _, _, body in server.posted])] == [80.0, 78.0]
    assert [one.value for one in probe.refused] == [79.0]


def test_readings_that_nobody_took_are_not_forgotten_in_silence() -> None:
    server = Server()
    server.stop()
    probe = HttpProbe(server.url)
    probe.say(said(80.0))

    with pytest.raises(InstrumentLostError, match="1 readings were never acknowledged"):
        probe.close(finish_s=0.3)
