"""MQTT against a real Mosquitto: the ways in which a logger can lose or invent readings.

T1 … T12 name what paho-mqtt 2.2 and Mosquitto 2.0.11 do when they are used as they come (tried on
Linux); each test shows the collector getting it right where that is possible.
"""

from __future__ import annotations

import re
import threading
from typing import TYPE_CHECKING

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.frames.number import NumberDecoder
from collector.instruments.mqtt import MqttInstrument
from collector.instruments.mqtt_link import BrokerSettings
from collector.instruments.mqtt_topics import Subscription
from collector.readings import Quality, Reading

if TYPE_CHECKING:
    from collector.instruments.protocol import Clock, Instrument
    from tests.e2e.conftest import (
        Broker,
        Build,
        Collecting,
        GatedStore,
        Mosquitto,
        Publish,
        StartCollecting,
        Until,
    )

pytestmark = pytest.mark.e2e
ID = "curdwright-test"
SERIES = "kitchen/north"


def stanza(
    broker: Broker, *more: str, topic_filter: str = "kitchen/+", payload: str = "number"
) -> str:
    lines = ["[[mqtt]]", f"port = {broker.port}", f'client_id = "{ID}"', *more]
    lines += ["[[mqtt.topics]]", f'filter = "{topic_filter}"', f'payload = "{payload}"']
    if payload == "number":
        lines.append('unit = "Cel"')
    return "\n".join(lines) + "\n"


def instrument_of(collector: Collecting) -> MqttInstrument:
    (instrument,) = collector.instruments
    assert isinstance(instrument, MqttInstrument)
    return instrument


def subscribed(broker: Broker, until: Until, times: int = 1) -> None:
    until(lambda: broker.told(f"Sending SUBACK to {ID}") >= times, "the collector has subscribed")


def acknowledged(broker: Broker) -> int:
    return broker.told(f"Received PUBACK from {ID}")


def numbers(count: int, start: int = 0) -> list[str]:
    return [str(n) for n in range(start, start + count)]


def senml(count: int) -> list[str]:
    """Return packs of one value each, with times of their own."""
    return [f'[{{"n":"{SERIES}","u":"Cel","v":{n},"t":{1_772_355_600 + n}}}]' for n in range(count)]


def test_messages_become_readings_and_are_acknowledged_after_the_commit_in_their_order(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    gated_store: GatedStore,
    until: Until,
) -> None:
    broker = mosquitto()
    collector = collecting(stanza(broker), store=gated_store)
    subscribed(broker, until)
    publish(broker, SERIES, numbers(20))
    until(lambda: len(instrument_of(collector).window) == 20, "all have come")
    assert acknowledged(broker) == 0  # none is committed yet
    gated_store.let_through()
    until(lambda: acknowledged(broker) == 20, "all are acknowledged")
    assert collector.values(SERIES) == list(range(20))
    log = broker.log.read_text()
    sent = re.findall(rf"Sending PUBLISH to {ID} \(d0, q1, r0, m(\d+)", log)
    received = re.findall(rf"Received PUBACK from {ID} \(Mid: (\d+)", log)
    assert received == sent


def test_the_session_is_asked_for_as_it_must_be(
    mosquitto: Mosquitto, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    collecting(stanza(broker, "keepalive_s = 17"))
    subscribed(broker, until)
    # MQTT 5, Clean Start 0 on the very first connection, the keep-alive as configured
    assert broker.told(f"as {ID} (p5, c0, k17)") == 1
    assert broker.told("kitchen/+ (QoS 1)") == 1


# T1, T2: an exception in a callback ends the client's thread, or acknowledges a lost message.


class FailsOnce:
    """A decoder with a fault of its own at one message."""

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Decode a number, unless it is 13."""
        if data == b"13":
            raise ZeroDivisionError("division by zero")
        return NumberDecoder("{topic}", "Cel").decode(data, channel=channel, arrival_ms=arrival_ms)


def directly(broker: Broker, **settings: int) -> Build:
    """Build an instrument with settings that the configuration does not take."""
    given = BrokerSettings("127.0.0.1", broker.port, ID, **settings)  # type: ignore[arg-type]

    def build(clock: Clock) -> list[Instrument]:
        return [MqttInstrument(given, [Subscription("kitchen/+", FailsOnce())], clock)]

    return build


def test_t1_t2_a_decoder_that_fails_costs_no_message_and_the_next_ones_come(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    collector = collecting(build=directly(broker))
    subscribed(broker, until)
    publish(broker, SERIES, ["12", "13", "14"])
    until(lambda: collector.values(SERIES) == [12, None, 14], "all three are stored")
    (bad,) = collector.bad()
    assert bad.frame == b"13"
    assert "division by zero" in bad.reason
    until(lambda: acknowledged(broker) == 3, "all three are acknowledged")


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_t1_t2_if_the_clients_thread_dies_it_is_started_again_and_nothing_is_lost(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto()
    collector = collecting(stanza(broker, payload="senml"))
    subscribed(broker, until)
    client = instrument_of(collector).client
    ours = client.on_message
    hit = threading.Event()

    def dies(client: Client, userdata: object, message: MQTTMessage) -> None:
        client.on_message = ours
        hit.set()
        raise RuntimeError("a fault outside of our own code")

    client.on_message = dies
    publish(broker, SERIES, senml(3))
    assert hit.wait(20)
    until(lambda: len(collector.values(SERIES)) == 3, "all three are stored")
    assert collector.values(SERIES) == [0, 1, 2]
    assert "the network thread ended" in caplog.messages
    until(lambda: acknowledged(broker) == 3, "all three are acknowledged")


class FailsOnceClock:
    """A clock that fails at the first message, before anything of it is kept."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._failed = False

    def now_ms(self) -> int:
        """Return the time, but not the first time."""
        if not self._failed:
            self._failed = True
            raise OSError("no time")
        return self._clock.now_ms()


def test_t2_a_message_that_could_not_be_handed_on_is_asked_for_again(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto()

    def build(clock: Clock) -> list[Instrument]:
        given = BrokerSettings("127.0.0.1", broker.port, ID)
        wanted = [Subscription("kitchen/+", FailsOnce())]
        return [MqttInstrument(given, wanted, FailsOnceClock(clock), stuck_s=0.5)]

    collector = collecting(build=build)
    subscribed(broker, until)
    publish(broker, SERIES, ["1", "2"])
    until(lambda: 1 in collector.values(SERIES), "the first has come again and is stored")
    until(lambda: acknowledged(broker) == 2, "both are acknowledged")
    assert "a fault with a message" in caplog.messages
    assert "messages wait unacknowledged" in caplog.messages


# T3: a packet id is used again after the session was lost.


def test_t3_an_acknowledgement_of_an_earlier_connection_is_never_sent_on_a_later_one(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    gated_store: GatedStore,
    until: Until,
) -> None:
    broker = mosquitto(persistence=False)
    collector = collecting(stanza(broker), store=gated_store)
    window = instrument_of(collector).window
    subscribed(broker, until)
    publish(broker, SERIES, ["1"])
    until(lambda: gated_store.waiting == 1, "the first message is being committed")
    broker.restart(kill=True)
    subscribed(broker, until, times=2)
    publish(broker, SERIES, ["2"])
    until(lambda: len(window) == 1 and window.epoch == 2, "the second has come")
    assert re.findall(rf"Sending PUBLISH to {ID} \(d0, q1, r0, m(\d+)", broker.log.read_text()) == [
        "1",
        "1",
    ]
    gated_store.let_through(1)
    until(lambda: window.dropped == 1, "the first one's acknowledgement is dropped")
    until(lambda: gated_store.waiting == 1, "the second is being committed")
    assert acknowledged(broker) == 0
    gated_store.let_through()
    until(lambda: acknowledged(broker) == 1, "the second is acknowledged")
    assert collector.values(SERIES) == [1, 2]


# T6: a window that is full stops the stream.


def test_t6_no_more_messages_wait_than_we_said_and_all_come_in_the_end(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    gated_store: GatedStore,
    until: Until,
) -> None:
    broker = mosquitto()
    collector = collecting(stanza(broker, "receive_maximum = 3"), store=gated_store)
    subscribed(broker, until)
    publish(broker, SERIES, numbers(10))
    until(lambda: broker.told(f"Sending PUBLISH to {ID}") == 3, "three are sent")
    until(lambda: len(instrument_of(collector).window) == 3, "three have come")
    gated_store.let_through()
    until(lambda: acknowledged(broker) == 10, "all are acknowledged")
    assert collector.values(SERIES) == list(range(10))


def test_t6_a_broker_that_sends_more_than_we_said_is_slowed_down(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    gated_store: GatedStore,
    until: Until,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("collector.instruments.mqtt.WINDOW_LIMIT", 20)
    broker = mosquitto(max_queued_messages=0)
    collector = collecting(stanza(broker, "receive_maximum = 500"), store=gated_store)
    window = instrument_of(collector).window
    subscribed(broker, until)
    publish(broker, SERIES, numbers(500))
    until(lambda: broker.told(f"Sending PUBLISH to {ID}") == 500, "all are on their way")
    until(lambda: len(window) > 20, "more have come than we take at full speed")
    assert len(window) < 100  # two a second from there on
    gated_store.let_through()
    until(lambda: acknowledged(broker) == 500, "all are acknowledged")
    assert collector.values(SERIES) == list(range(500))


# T7, T8, T9: what the broker keeps while we are away depends on its settings.


def make_session(
    broker: Broker, collecting: StartCollecting, until: Until, text: str | None = None
) -> None:
    collector = collecting(text or stanza(broker))
    subscribed(broker, until)
    collector.stop()


def test_t7_what_was_sent_while_the_collector_was_away_comes_once_and_in_order(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto(max_queued_messages=0)
    make_session(broker, collecting, until)
    publish(broker, SERIES, numbers(1500))
    collector = collecting(stanza(broker))
    until(lambda: len(collector.values(SERIES)) >= 1500, "all are stored")
    assert collector.values(SERIES) == list(range(1500))
    assert all(reading.quality is Quality.GOOD for reading in collector.readings())


def test_t7_a_broker_as_it_comes_keeps_the_first_thousand_and_the_stream_goes_on_after_them(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    make_session(broker, collecting, until)
    publish(broker, SERIES, numbers(1500))
    collector = collecting(stanza(broker))
    until(lambda: len(collector.values(SERIES)) >= 1000, "the first thousand are stored")
    publish(broker, SERIES, ["5000"])
    until(lambda: collector.values(SERIES)[-1] == 5000, "the stream goes on")
    assert collector.values(SERIES) == [*range(1000), 5000]


def test_t8_messages_without_acknowledgement_are_taken_and_take_no_place_in_the_window(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    make_session(broker, collecting, until)
    publish(broker, SERIES, ["1"], qos=0)  # nobody is there: gone, as QoS 0 is
    publish(broker, SERIES, ["2"], qos=1)
    collector = collecting(stanza(broker, "receive_maximum = 1"))
    until(lambda: collector.values(SERIES) == [2], "what was sent at QoS 1 has come")
    publish(broker, SERIES, numbers(20, start=10), qos=0)
    until(lambda: len(collector.values(SERIES)) == 21, "QoS 0 is taken too")
    assert len(instrument_of(collector).window) == 0
    assert acknowledged(broker) == 1


def test_t9_a_broker_that_forgot_us_is_told_and_subscribed_to_again(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto(persistence=False)
    collector = collecting(stanza(broker))
    subscribed(broker, until)
    broker.restart()
    subscribed(broker, until, times=2)
    publish(broker, SERIES, ["7"])
    until(lambda: collector.values(SERIES) == [7], "what comes afterwards is stored")
    record = next(r for r in caplog.records if r.message == "connected again")
    assert record.levelname == "WARNING"
    assert "forgot our session" in record.__dict__["fields"]["lost"]


def test_t9_with_persistence_a_restarted_broker_still_has_what_came_while_we_were_away(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto(persistence=True)
    make_session(broker, collecting, until)
    publish(broker, SERIES, numbers(50))
    broker.restart()
    collector = collecting(stanza(broker))
    until(lambda: len(collector.values(SERIES)) >= 50, "all are stored")
    assert collector.values(SERIES) == list(range(50))


def test_a_broker_that_goes_and_comes_back_makes_one_log_line_each_and_loses_nothing(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("INFO")
    broker = mosquitto(persistence=True)
    collector = collecting(stanza(broker))
    subscribed(broker, until)
    publish(broker, SERIES, ["1"])
    until(lambda: collector.values(SERIES) == [1], "the first is stored")
    broker.stop()
    until(lambda: "the broker can not be reached" in caplog.messages, "the absence is told")
    broker.start()
    subscribed(broker, until, times=2)
    publish(broker, SERIES, ["2"])
    until(lambda: collector.values(SERIES) == [1, 2], "the second is stored")
    told = [m for m in caplog.messages if "connect" in m or "reached" in m]
    assert told == [
        "connected",
        "connection lost",
        "the broker can not be reached",
        "connected again",
    ]
    lost = next(r for r in caplog.records if r.message == "connection lost")
    assert lost.__dict__["fields"]["readings"] == 1


def test_a_broker_that_is_not_there_at_the_start_is_waited_for(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto()
    broker.stop()
    collector = collecting(stanza(broker))
    until(lambda: "the broker can not be reached" in caplog.messages, "the absence is told")
    broker.start()
    subscribed(broker, until)
    publish(broker, SERIES, ["3"])
    until(lambda: collector.values(SERIES) == [3], "it is stored")


# T10, T11: retained messages are old by definition.


def test_t10_a_message_that_was_retained_while_we_were_away_comes_once(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    make_session(broker, collecting, until)
    publish(broker, SERIES, ["21.5"], retain=True)
    collector = collecting(stanza(broker))
    until(lambda: collector.values(SERIES) == [21.5], "it is stored")
    publish(broker, SERIES, ["22.5"])
    until(lambda: collector.values(SERIES)[-1] == 22.5, "the next is stored")
    assert collector.values(SERIES) == [21.5, 22.5]


def test_t10_a_new_subscription_brings_no_retained_message(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    publish(broker, SERIES, ["21.5"], retain=True)
    collector = collecting(stanza(broker))
    subscribed(broker, until)
    publish(broker, SERIES, ["22.5"])
    until(lambda: collector.values(SERIES) != [], "the live one is stored")
    assert collector.values(SERIES) == [22.5]


def test_t10_a_retained_message_that_comes_all_the_same_is_kept_nowhere_counted_and_told(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("INFO")
    broker = mosquitto()
    publish(broker, SERIES, ["21.5"], retain=True)
    collector = collecting(stanza(broker, "receive_maximum = 1"))
    subscribed(broker, until)
    sends_retained = SubscribeOptions(
        qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE
    )
    instrument_of(collector).client.subscribe("kitchen/+", options=sends_retained)
    message = "a retained message is not taken for a reading"
    until(lambda: message in caplog.messages, "it is told")
    publish(broker, SERIES, ["22.5"])  # it holds no place: the window is one message wide
    until(lambda: collector.values(SERIES) == [22.5], "only the live one is stored")
    collector.stop()
    ended = next(r for r in caplog.records if r.message == "disconnected")
    assert ended.__dict__["fields"]["retained"] == 1


def test_t11_what_is_published_live_with_the_retain_flag_is_a_new_reading(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    collector = collecting(stanza(broker))
    subscribed(broker, until)
    publish(broker, SERIES, ["21.5"], retain=True)
    until(lambda: collector.values(SERIES) == [21.5], "it is stored")


def test_t11_subscribing_again_after_a_lost_connection_brings_nothing_twice(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto(persistence=True)
    collector = collecting(stanza(broker))
    subscribed(broker, until)
    publish(broker, SERIES, ["1"], retain=True)
    until(lambda: acknowledged(broker) == 1, "it is acknowledged")
    broker.restart(kill=False)
    subscribed(broker, until, times=2)
    publish(broker, SERIES, ["2"], retain=True)
    until(lambda: collector.values(SERIES)[-1] == 2, "the next is stored")
    assert collector.values(SERIES) == [1, 2]


# T12: a callback that blocks sends no sign of life.


def test_t12_a_store_that_hangs_longer_than_the_keep_alive_costs_no_connection(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    gated_store: GatedStore,
    until: Until,
) -> None:
    broker = mosquitto()
    collector = collecting(build=directly(broker, keepalive_s=2), store=gated_store)
    subscribed(broker, until)
    publish(broker, SERIES, ["1"])
    until(lambda: gated_store.waiting == 1, "the commit hangs")
    before = broker.told(f"Received PINGREQ from {ID}")
    until(
        lambda: broker.told(f"Received PINGREQ from {ID}") >= before + 2,
        "two signs of life have come, one in two seconds",
    )
    assert instrument_of(collector).window.epoch == 1
    gated_store.let_through()
    until(lambda: acknowledged(broker) == 1, "it is acknowledged on the same connection")


def test_a_broker_that_freezes_is_left_and_found_again(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto()
    collector = collecting(build=directly(broker, keepalive_s=1))
    subscribed(broker, until)
    broker.pause()
    until(lambda: "connection lost" in caplog.messages, "the silence is noticed")
    broker.resume()
    subscribed(broker, until, times=2)
    publish(broker, SERIES, ["1"])
    until(lambda: collector.values(SERIES) == [1], "it is stored")


def test_a_frozen_broker_does_not_hold_up_the_end(
    mosquitto: Mosquitto, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    collector = collecting(stanza(broker))
    subscribed(broker, until)
    broker.pause()
    assert collector.stop() == 0  # its deadline is below the keep-alive, after which all would end


# What can't be read, and what belongs to nobody.


def test_messages_that_cannot_be_read_are_kept_as_bad_and_acknowledged(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    collector = collecting(stanza(broker, "receive_maximum = 2", payload="senml"))
    subscribed(broker, until)
    publish(broker, SERIES, ["{", "nonsense", "[]", '[{"n":"a","v":1,"u":"Cel"}', "\x01"])
    publish(broker, SERIES, senml(1))
    until(lambda: collector.values(SERIES)[-1:] == [0], "the good one behind them is stored")
    until(lambda: acknowledged(broker) == 6, "all are acknowledged")
    assert collector.bad()[0].frame == b"{"
    assert collector.store.frame_count(SERIES) >= 4


def test_a_filter_that_was_taken_out_of_the_configuration_brings_nothing_twice(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    make_session(broker, collecting, until, stanza(broker, topic_filter="kitchen/#"))
    publish(broker, SERIES, ["1"])  # queued under the old filter
    collector = collecting(stanza(broker, topic_filter="kitchen/+"))
    subscribed(broker, until, times=2)
    until(lambda: broker.told(f"Received UNSUBSCRIBE from {ID}") == 1, "the old one is given up")
    until(lambda: broker.told(f"Sending UNSUBACK to {ID}") == 1, "the broker agrees")
    publish(broker, SERIES, ["2"])
    publish(broker, SERIES, ["3"])
    until(lambda: collector.values(SERIES)[-1] == 3, "the last is stored")
    assert collector.values(SERIES) == [1, 2, 3]


def test_what_still_comes_by_an_old_filter_is_kept_as_bad_under_its_topic(
    mosquitto: Mosquitto, publish: Publish, collecting: StartCollecting, until: Until
) -> None:
    broker = mosquitto()
    make_session(broker, collecting, until, stanza(broker, topic_filter="cellar/+"))
    publish(broker, "cellar/old", ["1"])
    collector = collecting(stanza(broker))
    until(lambda: collector.bad(), "it is kept")
    (bad,) = collector.bad()
    assert (bad.series, bad.frame) == ("cellar/old", b"1")
    assert bad.reason == "no topic filter asks for this topic"
