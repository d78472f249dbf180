"""The collector as a process: killed, stopped, out of disk, with everything real around it."""

from __future__ import annotations

import signal
import subprocess
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from collector.readings import Quality, Reading
from collector.store.sqlite import SqliteStore

if TYPE_CHECKING:
    from tests.e2e.conftest import (
        Broker,
        GatedStore,
        Mosquitto,
        PtyLine,
        Publish,
        StartCollecting,
        StartProcess,
        Until,
    )

pytestmark = pytest.mark.e2e
ID = "curdwright-test"
SERIES = "kitchen/north"
MESSAGES = 3000
JSON_TOPIC = """
series = "kitchen/north"
unit = "Cel"
value_pointer = "/v"
boot_pointer = "/boot"
sequence_pointer = "/seq"
"""


def stanza(broker: Broker, payload: str, *more: str) -> str:
    lines = ["[[mqtt]]", f"port = {broker.port}", f'client_id = "{ID}"', *more]
    lines += ["[[mqtt.topics]]", 'filter = "kitchen/+"', f'payload = "{payload}"']
    text = "\n".join(lines) + "\n"
    return text + {"json": JSON_TOPIC, "number": 'unit = "Cel"\n'}.get(payload, "")


def message(payload: str, n: int) -> str:
    if payload == "senml":
        return f'[{{"n":"{SERIES}","u":"Cel","v":{n},"t":{1_772_355_600 + n}}}]'
    return f'{{"v":{n},"boot":"b1","seq":{n}}}' if payload == "json" else str(n)


@pytest.fixture
def stored(tmp_path: Path) -> Iterator[SqliteStore]:
    """Return a look into the readings file from outside of the collector."""
    (tmp_path / "data").mkdir(exist_ok=True)
    store = SqliteStore(tmp_path / "data" / "readings.sqlite3")
    yield store
    store.close()


def readings_in(store: SqliteStore) -> list[Reading]:
    return [arrived.reading for arrived in store.since(0, 1_000_000)]


def subscribed(broker: Broker, until: Until, times: int = 1) -> None:
    until(lambda: broker.told(f"Sending SUBACK to {ID}") >= times, "the collector has subscribed")


Flow = Callable[["Broker", str], subprocess.Popen[bytes]]


@pytest.fixture
def flow() -> Iterator[Flow]:
    """Let messages flow at QoS 1, in the background."""
    publishers: list[subprocess.Popen[bytes]] = []

    def start(broker: Broker, payload: str) -> subprocess.Popen[bytes]:
        command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(broker.port), "-V", "5"]
        command += ["-t", SERIES, "-q", "1", "-l"]
        publishers.append(subprocess.Popen(command, stdin=subprocess.PIPE))
        pipe = publishers[-1].stdin
        assert pipe is not None
        pipe.write("".join(f"{message(payload, n)}\n" for n in range(MESSAGES)).encode())
        pipe.close()
        return publishers[-1]

    yield start
    for publisher in publishers:
        publisher.kill()
        publisher.wait()


@pytest.mark.parametrize("payload", ["senml", "json"])
def test_killed_while_messages_flow_none_is_lost_and_none_doubled(
    payload: str,
    mosquitto: Mosquitto,
    flow: Flow,
    collector_process: StartProcess,
    stored: SqliteStore,
    until: Until,
) -> None:
    broker = mosquitto(max_queued_messages=0)
    # The first life ends by its own hand right after a commit, before it has acknowledged: those
    # messages come again. The second ends before a commit, the third from outside.
    first = collector_process(stanza(broker, payload), when="after", limit=400)
    subscribed(broker, until)
    publisher = flow(broker, payload)
    assert first.wait() == -signal.SIGKILL
    assert stored.last_arrival() >= 400
    assert broker.told(f"Received PUBACK from {ID}") < stored.last_arrival()
    second = collector_process(when="before", limit=300)
    assert second.wait() == -signal.SIGKILL
    third = collector_process()
    until(lambda: stored.last_arrival() >= 1200, "the third has got further")
    third.kill()
    fourth = collector_process()
    until(lambda: publisher.poll() is not None, "all are published", 60)
    until(lambda: stored.last_arrival() >= MESSAGES, "all are stored", 60)
    until(lambda: "connected" in fourth.events(), "its log is JSON throughout")
    assert fourth.end() == 0
    values = [reading.value for reading in readings_in(stored)]
    assert len(values) == MESSAGES
    assert set(values) == set(range(MESSAGES))
    assert all(reading.quality is Quality.GOOD for reading in readings_in(stored))
    assert broker.told(f"Sending PUBLISH to {ID} (d1") > 0  # some did come again


def test_killed_while_plain_numbers_flow_none_is_lost_and_each_possible_repeat_is_marked(
    mosquitto: Mosquitto,
    flow: Flow,
    collector_process: StartProcess,
    stored: SqliteStore,
    until: Until,
) -> None:
    broker = mosquitto(max_queued_messages=0)
    first = collector_process(stanza(broker, "number"), when="after", limit=400)
    subscribed(broker, until)
    publisher = flow(broker, "number")
    assert first.wait() == -signal.SIGKILL
    last = collector_process()
    until(lambda: publisher.poll() is not None, "all are published", 60)
    until(lambda: readings_in(stored)[-1].value == MESSAGES - 1, "the last one is stored", 60)
    last.end()
    good = Counter(r.value for r in readings_in(stored) if r.quality is Quality.GOOD)
    marked = [r for r in readings_in(stored) if r.quality is Quality.SUSPECT]
    assert max(good.values()) == 1
    assert set(good) | {r.value for r in marked} == set(range(MESSAGES))
    assert marked
    assert {r.reason for r in marked} == {"possible repeat"}


@pytest.mark.parametrize("qos", [1, 2])
def test_t4_t5_killed_before_the_commit_the_message_comes_again_whatever_its_sender_chose(
    qos: int,
    mosquitto: Mosquitto,
    publish: Publish,
    collector_process: StartProcess,
    stored: SqliteStore,
    until: Until,
) -> None:
    broker = mosquitto()
    first = collector_process(stanza(broker, "senml"), when="before", limit=1)
    subscribed(broker, until)
    publish(broker, SERIES, [message("senml", 7)], qos=qos)
    assert first.wait() == -signal.SIGKILL
    assert stored.last_arrival() == 0
    collector_process()
    until(lambda: stored.last_arrival() == 1, "it is stored after the restart")
    assert broker.told(f"Sending PUBLISH to {ID} (d1, q1") == 1
    until(lambda: broker.told(f"Received PUBACK from {ID}") == 1, "it is acknowledged")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_stopped_while_messages_flow_it_ends_with_zero_and_what_it_committed_is_acknowledged(
    number: signal.Signals,
    mosquitto: Mosquitto,
    flow: Flow,
    collector_process: StartProcess,
    stored: SqliteStore,
    until: Until,
) -> None:
    broker = mosquitto(max_queued_messages=0)
    first = collector_process(stanza(broker, "senml"))
    subscribed(broker, until)
    publisher = flow(broker, "senml")
    until(lambda: stored.last_arrival() >= 300, "messages flow")
    assert first.end(number) == 0
    committed = stored.last_arrival()
    until(lambda: broker.told(f"Received DISCONNECT from {ID}") == 1, "it has said goodbye")
    assert broker.told(f"Received PUBACK from {ID}") == committed
    until(lambda: publisher.poll() is not None, "all are published", 60)
    second = collector_process()
    until(lambda: stored.last_arrival() >= MESSAGES, "the rest is stored", 60)
    assert second.end() == 0
    assert [r.value for r in readings_in(stored)] == list(range(MESSAGES))


def test_a_killed_collector_is_said_to_be_offline_by_the_broker(
    mosquitto: Mosquitto, collector_process: StartProcess, until: Until
) -> None:
    broker = mosquitto()
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
    collector = collector_process(stanza(broker, "number", 'status_topic = "kitchen-status"'))
    until(lambda: heard == [b"online"], "it is online")
    collector.kill()
    until(lambda: heard == [b"online", b"offline"], "its will is published")
    watcher.disconnect()
    watcher.loop_stop()


class SmallDisk(SqliteStore):
    """A readings file on a disk that the test fills up and makes room on."""

    def fill_up(self) -> None:
        """Let the file grow no more: SQLite then answers as on a full disk."""
        pages = self._writer.execute("PRAGMA page_count").fetchone()[0]
        self._writer.execute(f"PRAGMA max_page_count={pages}")

    def make_room(self) -> None:
        """Let it grow again."""
        self._writer.execute("PRAGMA max_page_count=1073741823")


def test_on_a_full_disk_nothing_is_acknowledged_nothing_lost_and_one_line_said(
    mosquitto: Mosquitto,
    publish: Publish,
    pty_line: PtyLine,
    collecting: StartCollecting,
    until: Until,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("INFO")
    broker = mosquitto()
    (tmp_path / "data").mkdir()
    store = SmallDisk(tmp_path / "data" / "readings.sqlite3")
    serial = f'[[serial]]\nport = "{pty_line.path}"\nseries = "north/scale"\nunit = "kg"\n'
    serial += 'pattern = "number-unit"\nsilence_s = 0.1\n'
    collector = collecting(serial + stanza(broker, "senml", "receive_maximum = 10"), store=store)
    subscribed(broker, until)

    def heard() -> bool:
        pty_line.write(b"1.0 kg\r\n")
        return bool(collector.values("north/scale"))

    until(heard, "the scale is heard")
    store.fill_up()
    fills = 0
    while "the store can not be written" not in caplog.messages:
        pty_line.write(b"2.0 kg\r\n" * 50)
        fills += 50
        count = collector.store.last_arrival()
        until(
            lambda count=count: (
                collector.store.last_arrival() != count  # type: ignore[misc]
                or "the store can not be written" in caplog.messages
            ),
            "they are stored, or the disk is full",
        )
    acknowledged = broker.told(f"Received PUBACK from {ID}")
    publish(broker, SERIES, [message("senml", n) for n in range(30)])
    pty_line.write(b"3.0 kg\r\n")
    until(lambda: broker.told(f"Sending PUBLISH to {ID}") == 10, "the window is full")
    assert broker.told(f"Received PUBACK from {ID}") == acknowledged == 0
    store.make_room()
    until(lambda: len(collector.values(SERIES)) == 30, "all messages are stored")
    until(lambda: 3.0 in collector.values("north/scale"), "and all lines")
    assert collector.values(SERIES) == list(range(30))
    assert collector.values("north/scale").count(2.0) == fills
    until(lambda: broker.told(f"Received PUBACK from {ID}") == 30, "all are acknowledged")
    told = [m for m in caplog.messages if "the store" in m]
    assert told == ["the store can not be written", "the store is written again"]


def test_a_store_that_hangs_at_the_end_is_left_and_the_messages_come_again(
    mosquitto: Mosquitto,
    publish: Publish,
    collecting: StartCollecting,
    gated_store: GatedStore,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    broker = mosquitto()
    hanging = collecting(stanza(broker, "senml"), store=gated_store)
    subscribed(broker, until)
    publish(broker, SERIES, [message("senml", n) for n in range(5)])
    until(lambda: broker.told(f"Sending PUBLISH to {ID}") == 5, "all are sent")
    until(lambda: gated_store.waiting == 1, "the commit hangs")
    assert hanging.stop() == 5
    assert "readings could not be committed before the end" in caplog.messages
    assert broker.told(f"Received PUBACK from {ID}") == 0
    gated_store.let_through()
    collector = collecting(stanza(broker, "senml"))
    until(lambda: broker.told(f"Received PUBACK from {ID}") == 5, "they came again")
    assert collector.values(SERIES) == list(range(5))


def test_a_file_is_played_beside_a_line_and_a_broker(
    mosquitto: Mosquitto,
    publish: Publish,
    pty_line: PtyLine,
    collecting: StartCollecting,
    until: Until,
    tmp_path: Path,
) -> None:
    broker = mosquitto()
    (tmp_path / "data").mkdir()
    rows = "".join(f"{1_772_355_600_000 + 10 * n},{n}\n" for n in range(100))
    (tmp_path / "data" / "week.csv").write_text(f"time_ms,value\n{rows}")
    text = stanza(broker, "number")
    text += f'[[serial]]\nport = "{pty_line.path}"\nseries = "north/scale"\nunit = "kg"\n'
    text += 'pattern = "number-unit"\nsilence_s = 0.1\n'
    text += '[[replay]]\nfile = "week.csv"\nseries = "old/milk"\nspeed = 100.0\n'
    collector = collecting(text)
    subscribed(broker, until)
    publish(broker, SERIES, ["21.5"])

    def heard() -> bool:
        pty_line.write(b"1.0 kg\r\n")
        return bool(collector.values("north/scale"))

    until(heard, "the scale is heard")
    until(lambda: collector.values(SERIES) == [21.5], "the message is stored")
    until(lambda: collector.values("old/milk") == list(range(100)), "the file is stored")


def test_a_simulated_pot_goes_on_speaking_in_the_next_run(
    collector_process: StartProcess, stored: SqliteStore, until: Until
) -> None:
    text = '[[simulated]]\nname = "Small"\nseries_prefix = "small"\nspeed = 20.0\n'
    first = collector_process(text)
    until(lambda: stored.last_arrival() >= 50, "it speaks")
    assert first.end() == 0
    before = stored.last_arrival()
    assert {reading.series.split("/")[0] for reading in readings_in(stored)} == {"small"}
    second = collector_process()
    until(lambda: stored.last_arrival() >= before + 50, "it speaks in the next run")
    assert second.end() == 0
    stops = [line for line in second.lines() if line["event"] == "stopped"]
    assert [(stop["repeated"], stop["conflicts"]) for stop in stops] == [(0, 0), (0, 0)]


def test_the_start_of_each_run_is_recorded_with_the_machines_boot(
    collector_process: StartProcess, stored: SqliteStore, until: Until
) -> None:
    for run in (1, 2):
        collector = collector_process("")
        until(lambda run=run: len(stored.clock_steps()) == run, "the start is recorded")  # type: ignore[misc]
        assert collector.end() == 0
    first, second = stored.clock_steps()
    assert first.boot == Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    assert first.boot == second.boot
    assert first.run != second.run
    assert (first.step_ms, second.step_ms) == (0, 0)
    assert first.at_ms < second.at_ms


def test_a_second_collector_on_one_data_folder_is_refused_and_told_who_runs(
    collector_process: StartProcess, until: Until
) -> None:
    first = collector_process("")
    until(lambda: "nothing to collect from" in first.events(), "the first runs")
    second = collector_process()
    assert second.wait() == 1
    text = second.errors()
    assert f"Another collector (process {first.pid}) runs on this data folder." in text
    assert first.running
    first.kill()
    third = collector_process()
    until(lambda: third.events().count("nothing to collect from") == 2, "the third runs")
    assert third.end() == 0
