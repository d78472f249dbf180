"""Notices at a real broker: acknowledged before they count, told in JSON, refused in words."""

from __future__ import annotations

import json
import subprocess
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from api.watch.message import Message
from api.watch.mqtt_route import send_by_mqtt

if TYPE_CHECKING:
    from tests.e2e.conftest import Mosquitto, Until
    from tests.e2e.notices.conftest import Site, Staffed

pytestmark = pytest.mark.e2e

MESSAGE = Message(
    "test", "some-id", "Fern Lane", "head", "text", "medium", "2026-03-02T08:15:00.000Z"
)


class Listener:
    """Somebody in the kitchen who is subscribed to a topic."""

    def __init__(self, port: int, topic: str) -> None:
        self.heard: list[dict[str, Any]] = []
        self._subscribed = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *_: client.subscribe(topic, qos=1)
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.on_message = lambda _c, _d, said: self.heard.append(json.loads(said.payload))
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._subscribed.wait(20)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def listening() -> Iterator[Callable[[int, str], Listener]]:
    opened: list[Listener] = []

    def listen(port: int, topic: str) -> Listener:
        opened.append(Listener(port, topic))
        return opened[-1]

    yield listen
    for one in opened:
        one.close()


def test_a_notice_goes_by_a_real_broker(
    site: Site, mosquitto: Mosquitto, listening: Callable[[int, str], Listener], until: Until
) -> None:
    broker = mosquitto()
    lamp = listening(broker.port, "kitchen/notices")
    address = f"mqtt://127.0.0.1:{broker.port}/kitchen/notices"
    route = site.post("/v1/notices/routes", {"name": "lamp", "address": address})
    tested = site.post(f"/v1/notices/routes/{route['id']}/test", {})
    site.batch("North")

    site.collect("North", 78.0, 79.0, 81.0)

    until(lambda: len(lamp.heard) == 2, "the broker has passed both on")
    until(lambda: [s["state"] for s in site.sendings()] == ["sent"], "the sending is recorded")
    assert (tested["taken"], tested["answer"]) == (True, "acknowledged by the broker")
    test, notice = lamp.heard
    (alarm,) = site.get("/v1/notices")["notices"]
    assert (test["kind"], notice["kind"]) == ("test", "notice")
    assert notice["id"] == alarm["id"]
    assert notice["text"] == "North: passing 80 degC, rising"
    assert (notice["title"], notice["priority"]) == ("North: passing 80 degC", "medium")
    assert notice["kitchen"] == "Kitchen" and notice["at"].endswith("Z")
    assert broker.told("Received PUBLISH") == 2
    assert broker.told("(d0, q1, r0, m1, 'kitchen/notices'") >= 2


def test_a_broker_that_was_away_gets_the_notice_once_when_it_is_back(
    staffed: Staffed, mosquitto: Mosquitto, until: Until
) -> None:
    broker = mosquitto()
    broker.stop()
    staffed.route("lamp", f"mqtt://127.0.0.1:{broker.port}/kitchen/notices")
    staffed.cross("North")
    until(lambda: any(tries >= 2 for _, tries in staffed.tries()), "it was tried in vain")

    broker.start()

    until(lambda: [state for state, _ in staffed.tries()] == ["sent"], "it is sent")
    assert broker.told("Received PUBLISH") == 1


def test_a_frozen_broker_is_not_believed(mosquitto: Mosquitto) -> None:
    broker = mosquitto()
    address = f"mqtt://127.0.0.1:{broker.port}/kitchen/notices"
    broker.pause()
    try:
        outcome = send_by_mqtt(address, MESSAGE, patience_s=1.0)
    finally:
        broker.resume()

    assert not outcome.taken
    assert outcome.answer == "the broker did not answer within 1 s"


def test_a_broker_that_refuses_says_so_and_no_secret_is_told(
    mosquitto: Mosquitto, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("rights")
    passwords, rights = folder / "passwords", folder / "rights"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(passwords), "anna", "open-sesame"], check=True
    )
    rights.write_text("user anna\ntopic readwrite kitchen/notices\n")
    for path in (passwords, rights):
        path.chmod(0o600)
    broker = mosquitto(allow_anonymous=False, password_file=str(passwords), acl_file=str(rights))
    at = f"127.0.0.1:{broker.port}"

    right = send_by_mqtt(f"mqtt://anna:open-sesame@{at}/kitchen/notices", MESSAGE)
    stranger = send_by_mqtt(f"mqtt://anna:wrong-sesame@{at}/kitchen/notices", MESSAGE)
    forbidden = send_by_mqtt(f"mqtt://anna:open-sesame@{at}/kitchen/other", MESSAGE)

    assert (right.taken, right.answer) == (
        True, "acknowledged by the broker; nobody is subscribed to the topic",
    )  # fmt: skip
    assert not stranger.taken and "refused the connection: Not authorized" in stranger.answer
    assert not forbidden.taken and "refused it: Not authorized" in forbidden.answer
    assert not [o for o in (right, stranger, forbidden) if "sesame" in o.answer]


def test_a_broker_of_the_older_version_acknowledges_too(mosquitto: Mosquitto) -> None:
    broker = mosquitto()

    outcome = send_by_mqtt(f"mqtt://127.0.0.1:{broker.port}/kitchen?version=3.1.1", MESSAGE)

    assert (outcome.taken, outcome.answer) == (True, "acknowledged by the broker")
    assert broker.told("(p2, ") == 1  # its name for 3.1.1
