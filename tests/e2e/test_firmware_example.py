"""The firmware example, run as it is against a real broker, and read back."""

from __future__ import annotations

import json
import os
import platform
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Protocol

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.frames.senml import SenmlDecoder
from collector.readings import Quality, Reading

pytestmark = pytest.mark.e2e

_EXAMPLE = Path(__file__).parents[2] / "firmware_notes" / "one_wire_probe_mqtt"
_MICROPYTHON = Path(sys.executable).with_name("micropython")
# MicroPython's unix port comes as a wheel for this platform only; there it must be installed.
_HAS_WHEEL = sys.platform == "linux" and platform.machine() == "x86_64"
_INTERPRETERS = [sys.executable, str(_MICROPYTHON)] if _HAS_WHEEL else [sys.executable]
_FAST = {"interval_ms": 60, "conversion_ms": 10, "client_id": "probe-north"}

pytest_interpreters = pytest.mark.parametrize(
    "interpreter", _INTERPRETERS, ids=[Path(path).stem for path in _INTERPRETERS]
)


class Board:
    """The example, running in a folder of its own."""

    def __init__(self, folder: Path, interpreter: str, settings: dict[str, Any]) -> None:
        """Start it; `wire.txt` in the folder, if there is one, is what the probe says."""
        self._folder = folder
        self._interpreter = interpreter
        (folder / "probe.json").write_text(json.dumps(settings))
        self._log = folder / "board.log"
        self._log.touch()
        self.start()

    def start(self) -> None:
        """Power it."""
        desk = str(_EXAMPLE / "desk")
        environment = os.environ | {
            "PYTHONPATH": desk, "PYTHONUNBUFFERED": "1", "MICROPYPATH": f"{desk}:.frozen",
        }  # fmt: skip
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [self._interpreter, str(_EXAMPLE / "main.py")],
                cwd=self._folder,
                env=environment,
                stdout=log,
                stderr=log,
            )

    def cut(self) -> None:
        """Pull its plug."""
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(20)

    def said(self, line: str) -> int:
        """Return how often its log has a line that starts so; fail if it has died."""
        text = self._log.read_text(errors="replace")
        assert self._process.poll() is None, text
        return sum(entry.startswith(line) for entry in text.splitlines())


class Boards(Protocol):
    """The type of the `boards` fixture."""

    def __call__(self, interpreter: str, wire: str = "", **settings: Any) -> Board:
        """Start one; `wire` is the text of `wire.txt`."""
        ...


@pytest.fixture
def boards(tmp_path: Path) -> Iterator[Boards]:
    """Start the example on boards of its own."""
    running: list[Board] = []

    def start(interpreter: str, wire: str = "", **settings: Any) -> Board:
        folder = tmp_path / f"board-{len(running)}"
        folder.mkdir()
        if wire:
            (folder / "wire.txt").write_text(wire)
        running.append(Board(folder, interpreter, _FAST | settings))
        return running[-1]

    yield start
    for board in running:
        board.cut()


class Ear:
    """A subscriber with a session of its own that keeps all it hears."""

    def __init__(self, port: int) -> None:
        """Subscribe and wait for nothing yet."""
        self.readings: list[Reading] = []
        self.status: list[str] = []
        self.subscribed = 0
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id="ear", clean_session=False
        )
        self._client.on_connect = lambda client, *_: client.subscribe(
            [("kitchen/probes/#", 1), ("status/#", 1)]
        )
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.reconnect_delay_set(1, 1)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _on_subscribe(self, *_: object) -> None:
        self.subscribed += 1

    def _on_message(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        if message.topic.startswith("status/"):
            self.status.append(message.payload.decode())
            return
        self.readings += SenmlDecoder().decode(
            bytes(message.payload), channel=message.topic, arrival_ms=4_000_000_000_000
        )

    @property
    def sequences(self) -> list[int]:
        """The running numbers heard, each once, in order."""
        return sorted({r.sequence for r in self.readings if r.sequence is not None})

    def close(self) -> None:
        """Stop listening."""
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def listen(until: Any) -> Iterator[Callable[[int], Ear]]:
    """Listen to a broker's port; returns once the subscription stands."""
    ears: list[Ear] = []

    def start(port: int) -> Ear:
        ears.append(Ear(port))
        until(lambda: ears[-1].subscribed, "the subscription stands")
        return ears[-1]

    yield start
    for ear in ears:
        ear.close()


_WIRE = """\
23054b467fff0c106c
nobody
000000000000000000
24054b467fff0c106c
5eff4b467fff0210b6
"""


@pytest_interpreters
def test_what_the_probe_says_arrives_and_what_it_can_not_say_arrives_as_its_reason(
    interpreter: str, mosquitto: Any, boards: Boards, listen: Callable[[int], Ear], until: Any
) -> None:
    broker = mosquitto()
    ear = listen(broker.port)
    boards(interpreter, _WIRE, port=broker.port)
    until(lambda: len(ear.readings) >= 6, "six samples have come")
    first, second, third, fourth, fifth, sixth = ear.readings[:6]
    assert (first.series, first.value, first.unit) == ("north/milk", 82.1875, "Cel")
    assert first.quality is Quality.GOOD
    for reading, reason in [(second, "nothing answers"), (third, "shorted"), (fourth, "check sum")]:
        assert (reading.value, reading.quality) == (None, Quality.BAD)
        assert reason in reading.reason
    assert "24054b467fff0c106c" in fourth.reason
    assert fifth.value == sixth.value == -10.125
    assert [r.sequence for r in ear.readings[:6]] == [1, 2, 3, 4, 5, 6]
    assert len({r.boot for r in ear.readings}) == 1
    times = [r.time_ms for r in ear.readings]
    assert times == sorted(set(times))


@pytest_interpreters
def test_no_sample_is_lost_while_the_broker_is_away(
    interpreter: str, mosquitto: Any, boards: Boards, listen: Callable[[int], Ear], until: Any
) -> None:
    broker = mosquitto(persistence=True)
    ear = listen(broker.port)
    board = boards(interpreter, port=broker.port)
    until(lambda: ear.readings, "a sample has come")
    broker.stop()
    until(lambda: board.said("no connection") >= 2, "the board has noticed twice")
    before = max(ear.sequences)
    broker.start()
    until(lambda: max(ear.sequences) > before + 20, "the samples of the gap have come")
    assert ear.sequences == list(range(1, max(ear.sequences) + 1))
    values = {r.sequence: r.value for r in ear.readings}
    assert values == {n: 20 + n / 16 for n in ear.sequences}


@pytest_interpreters
def test_a_pack_that_was_not_confirmed_is_sent_again_unchanged(
    interpreter: str, mosquitto: Any, boards: Boards, listen: Callable[[int], Ear], until: Any
) -> None:
    broker = mosquitto()
    ear = listen(broker.port)
    board = boards(interpreter, port=broker.port)
    until(lambda: ear.readings, "a sample has come")
    broker.pause()
    until(lambda: board.said("no connection"), "the board has given the connection up")
    broker.resume()
    last = max(ear.sequences)
    until(lambda: max(ear.sequences) > last + 20, "later samples have come")
    said: dict[int | None, set[tuple[int, float | None]]] = {}
    for reading in ear.readings:
        said.setdefault(reading.sequence, set()).add((reading.time_ms, reading.value))
    assert ear.sequences == list(range(1, max(ear.sequences) + 1))
    assert all(len(variants) == 1 for variants in said.values())
    assert len(ear.readings) > len(said), "the pack under way came twice"


@pytest_interpreters
def test_a_full_spool_drops_the_oldest_and_its_numbers_show_it(
    interpreter: str, mosquitto: Any, boards: Boards, listen: Callable[[int], Ear], until: Any
) -> None:
    broker = mosquitto(persistence=True)
    ear = listen(broker.port)
    board = boards(interpreter, port=broker.port, spool=8)
    until(lambda: ear.readings, "a sample has come")
    broker.stop()
    until(lambda: board.said("spool full") >= 5, "samples have been lost")
    broker.start()
    last = max(ear.sequences)
    until(lambda: max(ear.sequences) > last + 8, "later samples have come")
    lost = board.said("spool full: one sample lost")
    assert max(ear.sequences) - len(ear.sequences) == lost


@pytest_interpreters
def test_a_board_that_was_cut_off_is_reported_and_begins_anew_under_another_boot_id(
    interpreter: str, mosquitto: Any, boards: Boards, listen: Callable[[int], Ear], until: Any
) -> None:
    broker = mosquitto()
    ear = listen(broker.port)
    board = boards(interpreter, port=broker.port)
    until(lambda: ear.readings, "a sample has come")
    board.cut()
    until(lambda: ear.status[-1:] == ["offline"], "the broker has told of it")
    board.start()
    until(lambda: len({r.boot for r in ear.readings}) == 2, "the board is back")
    until(lambda: ear.status[-1:] == ["online"], "the board has told of it")
    assert ear.readings[-1].boot != ear.readings[0].boot
    assert 1 in [r.sequence for r in ear.readings if r.boot == ear.readings[-1].boot]


@pytest_interpreters
def test_a_broker_that_refuses_the_board_is_asked_again_and_measuring_goes_on(
    interpreter: str,
    mosquitto: Any,
    boards: Boards,
    listen: Callable[[int], Ear],
    until: Any,
    tmp_path: Path,
) -> None:
    passwords = tmp_path / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(passwords), "probe-north", "basil"],
        check=True,
        capture_output=True,
    )
    broker = mosquitto(allow_anonymous=False, password_file=passwords)
    board = boards(interpreter, port=broker.port, username="probe-north", password="wrong")
    until(lambda: board.said("no connection: the broker refuses with code 5"), "it was refused")
    other = boards(interpreter, port=broker.port, username="probe-north", password="basil")
    until(lambda: other.said("connected to"), "the right password is taken")
    assert board.said("connected to") == 0
