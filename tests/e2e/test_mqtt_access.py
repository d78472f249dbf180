"""Status, names and access at a real Mosquitto: who is let in, and what is said if not."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

if TYPE_CHECKING:
    from tests.e2e.conftest import (
        Broker,
        Mosquitto,
        Publish,
        Setting,
        StartCollecting,
        Until,
    )

pytestmark = pytest.mark.e2e
ID = "curdwright-test"
SERIES = "kitchen/north"


def stanza(broker: Broker, *more: str) -> str:
    lines = ["[[mqtt]]", f"port = {broker.port}", f'client_id = "{ID}"', *more]
    lines += ["[[mqtt.topics]]", 'filter = "kitchen/+"', 'payload = "number"', 'unit = "Cel"']
    return "\n".join(lines) + "\n"


def subscribed(broker: Broker, until: Until) -> None:
    until(lambda: broker.told(f"Sending SUBACK to {ID}") >= 1, "the collector has subscribed")


def acknowledged(broker: Broker) -> int:
    return broker.told(f"Received PUBACK from {ID}")


def status_of(broker: Broker, until: Until, wanted: bytes) -> None:
    """Wait until the retained status is what it should be."""
    heard: list[bytes] = []
    watcher = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)

    def ask(client: Client, *_: object) -> None:
        client.subscribe("kitchen-status", qos=1)

    def hear(client: Client, userdata: object, message: MQTTMessage) -> None:
        heard.append(bytes(message.payload))

    watcher.on_connect = ask
    watcher.on_message = hear
    watcher.connect("127.0.0.1", broker.port)
    watcher.loop_start()
    try:
        until(lambda: heard[-1:] == [wanted], f"the status is {wanted!r}")
    finally:
        watcher.disconnect()
        watcher.loop_stop()


def test_the_status_topic_says_online_and_after_a_clean_end_offline(
    mosquitto: Mosquitto, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    collector = collecting(stanza(broker, 'status_topic = "kitchen-status"'))
    status_of(broker, until, b"online")
    collector.stop()
    status_of(broker, until, b"offline")


def test_another_client_with_our_name_is_told_and_not_fought_with(
    mosquitto: Mosquitto,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto()
    collector = collecting(stanza(broker))
    subscribed(broker, until)
    other = Client(CallbackAPIVersion.VERSION2, ID, protocol=MQTTv5)
    other.connect("127.0.0.1", broker.port)
    other.loop_start()
    until(
        lambda: "another client seems to use our client_id" in caplog.messages, "the other is told"
    )
    assert collector.stop() == 0
    other.disconnect()
    other.loop_stop()


def test_a_subscription_that_is_granted_without_acknowledgement_is_an_error(
    mosquitto: Mosquitto,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto(listener={"max_qos": 0})
    collecting(stanza(broker))
    until(
        lambda: "the subscription is granted at QoS 0 only" in caplog.messages,
        "the answer is looked at",
    )


def deny_subscriptions(broker_folder: Path) -> Setting:
    """Write an access list by which nobody may subscribe; return the plugin that obeys it."""
    access = {
        "publishClientSend": True,
        "publishClientReceive": True,
        "subscribe": False,
        "unsubscribe": True,
    }
    acl = {"defaultACLAccess": access, "clients": [], "groups": [], "roles": []}
    (broker_folder / "access.json").write_text(json.dumps(acl))
    return next(Path("/usr/lib").glob("*/mosquitto_dynamic_security.so"))


def test_a_subscription_that_is_refused_is_an_error(
    mosquitto: Mosquitto,
    collecting: StartCollecting,
    until: Until,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto(
        plugin=deny_subscriptions(tmp_path), plugin_opt_config_file=tmp_path / "access.json"
    )
    collecting(stanza(broker))
    what = "the subscription is refused: Not authorized"
    until(lambda: what in caplog.messages, "the answer is looked at")
    record = next(r for r in caplog.records if r.message == what)
    assert record.__dict__["fields"]["filter"] == "kitchen/+"


def test_a_wrong_password_is_told_once_and_the_right_one_lets_us_in(
    mosquitto: Mosquitto,
    collecting: StartCollecting,
    until: Until,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    passwords = tmp_path / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(passwords), "collector", "fern"], check=True
    )
    broker = mosquitto(allow_anonymous=False, password_file=passwords)
    text = stanza(broker, 'username = "collector"', 'password_env = "FERN_PASSWORD"')
    monkeypatch.setenv("FERN_PASSWORD", "nettle")
    refused = collecting(text)
    what = "the broker refuses the connection: Not authorized"
    until(lambda: what in caplog.messages, "the refusal is told")
    until(lambda: broker.told("not authorised") >= 2, "it is tried again")
    assert caplog.messages.count(what) == 1
    refused.stop()
    monkeypatch.setenv("FERN_PASSWORD", "fern")
    collecting(text)
    subscribed(broker, until)


@pytest.fixture
def certificates(tmp_path: Path) -> Path:
    """Return a folder with an authority, a server's certificate by it, and another authority."""
    folder = tmp_path / "certificates"
    folder.mkdir()

    def openssl(*arguments: str) -> None:
        subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True)

    new = ["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"]
    for name in ("ours", "foreign"):
        openssl(*new, "-keyout", f"{name}.key", "-out", f"{name}.pem", "-subj", f"/CN={name}")
    (folder / "names").write_text("subjectAltName=IP:127.0.0.1\n")
    openssl("req", "-newkey", "rsa:2048", "-nodes", "-keyout", "server.key", "-out", "server.csr",
            "-subj", "/CN=broker")  # fmt: skip
    openssl("x509", "-req", "-in", "server.csr", "-CA", "ours.pem", "-CAkey", "ours.key",
            "-CAcreateserial", "-days", "2", "-extfile", "names", "-out", "server.pem")  # fmt: skip
    return folder


# paho 2.2 forgets to close the socket of a handshake that failed; the interpreter closes it.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_tls_is_spoken_and_the_brokers_certificate_is_verified(
    mosquitto: Mosquitto,
    collecting: StartCollecting,
    until: Until,
    certificates: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    listener: dict[str, Setting] = {
        "cafile": certificates / "ours.pem",
        "certfile": certificates / "server.pem",
        "keyfile": certificates / "server.key",
    }
    broker = mosquitto(listener=listener)
    foreign = collecting(
        stanza(broker, "tls = true", f'tls_ca_file = "{certificates / "foreign.pem"}"')
    )
    until(lambda: "the broker can not be reached" in caplog.messages, "a foreign one is refused")
    foreign.stop()
    assert broker.told(f"as {ID}") == 0
    collector = collecting(
        stanza(broker, "tls = true", f'tls_ca_file = "{certificates / "ours.pem"}"')
    )
    subscribed(broker, until)
    command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(broker.port), "-q", "1"]
    command += ["-t", SERIES, "-m", "21.5", "--cafile", str(certificates / "ours.pem")]
    subprocess.run(command, check=True, timeout=20)
    until(lambda: collector.values(SERIES) == [21.5], "it is stored")
    until(lambda: acknowledged(broker) == 1, "it is acknowledged")


def test_a_certificate_file_that_is_missing_is_told_and_the_other_instruments_go_on(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto()
    missing = stanza(broker, "tls = true", 'tls_ca_file = "/nowhere/ca.pem"')
    collector = collecting(missing.replace(ID, "other") + stanza(broker))
    subscribed(broker, until)
    until(lambda: "an instrument failed and is begun anew" in caplog.messages, "it is told")
    publish(broker, SERIES, ["1"])
    until(lambda: collector.values(SERIES) == [1], "the other one goes on")
