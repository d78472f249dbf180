"""A push button through a real broker, a serial line and HTTP, to the mark in the record."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest

pytestmark = pytest.mark.e2e

DEADLINE_S = 30.0


class Program:
    """`curdwright run` on a data folder of its own."""

    def __init__(self, folder: Path, broker_port: int, line: Path, port: int) -> None:
        """Start it."""
        folder.mkdir()
        (folder / "curdwright.toml").write_text(
            f"""
[kitchen]
name = "Fern Lane"
[[serial]]
port = "{line}"
series = "south/button"
expression = 'B(?P<value>[0-9]+)'
[[mqtt]]
host = "127.0.0.1"
port = {broker_port}
client_id = "curdwright-fern-lane"
[[mqtt.topics]]
filter = "kitchen/buttons/#"
payload = "senml"
""",
            encoding="utf-8",
        )
        self.folder = folder
        command = [sys.executable, "-P", "-m", "api.cli", "run", "--data", str(folder)]
        self.log = folder / "log.txt"
        with self.log.open("ab") as out:
            self._process = subprocess.Popen(
                [*command, "--port", str(port)], stdout=out, stderr=out, cwd=folder
            )
        self.http = httpx2.Client(base_url=f"http://127.0.0.1:{port}", timeout=DEADLINE_S)

    def get(self, path: str) -> Any:
        """Read something."""
        answer = self.http.get(path)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, path: str, body: Any) -> Any:
        """Post a record."""
        answer = self.http.post(path, json=body)
        assert answer.status_code in (200, 201), answer.text
        return answer.json()

    def answers(self) -> bool:
        """Tell whether the pages are served."""
        try:
            return self.http.get("/healthz").status_code == 200
        except httpx2.TransportError:
            return False

    def stop(self) -> None:
        """End it in good order."""
        self.http.close()
        self._process.send_signal(signal.SIGTERM)
        self._process.wait(DEADLINE_S)


@pytest.fixture
def program(
    tmp_path: Path, mosquitto: Any, pty_lines: Any, free_port: int, until: Any
) -> Iterator[tuple[Program, Any, Any]]:
    """Run the program with a broker and a line; both are handed back too."""
    broker, line = mosquitto(), pty_lines("usb-button")
    running = Program(tmp_path / "kitchen", broker.port, line.path, free_port)
    try:
        until(running.answers, "the pages answer", DEADLINE_S)
        until(lambda: broker.told("kitchen/buttons/#"), "it has subscribed", DEADLINE_S)
        yield running, broker, line
    finally:
        running.stop()


def frame(at_s: float, pressed: bool) -> str:
    return json.dumps([{"n": "north/button", "t": round(at_s, 3), "vb": pressed}])


def marks(program: Program, batch: str) -> list[tuple[str, str]]:
    events = program.get(f"/v1/batches/{batch}/events")["events"]
    return [(one["kind"], one["by"]) for one in events]


def test_a_press_over_mqtt_marks_once_though_it_bounces_and_is_sent_again(
    program: tuple[Program, Any, Any], publish: Any, until: Any
) -> None:
    kitchen, broker, _ = program
    kitchen.post("/v1/pots", {"name": "North", "button": "north/button"})
    batch = kitchen.post("/v1/batches", {"name": "Monday", "pot": "North"})["id"]
    now = time.time()
    presses = [
        frame(now - 60, False),
        frame(now - 20, True),
        frame(now - 19.95, False),
        frame(now - 19.9, True),  # a bounce
        frame(now - 19.5, False),
        frame(now - 20, True),  # the same frame again
        frame(now - 8, True),
        frame(now - 7.5, False),
    ]

    publish(broker, "kitchen/buttons/north", presses)

    until(lambda: len(marks(kitchen, batch)) >= 2, "two presses are marked", DEADLINE_S)
    assert marks(kitchen, batch) == [("heat", "button"), ("addition", "button")]
    [first, _] = kitchen.get(f"/v1/batches/{batch}/events")["events"]
    assert abs(_seconds(first["at"]) - (now - 20)) < 0.002
    assert first["series"] == "north/button"
    record = kitchen.http.get(f"/v1/batches/{batch}/record.csv").text
    assert re.search("event,heat,.*marked by the button north/button", record)
    page = kitchen.http.get(f"/batches/{batch}").text
    assert "marked by the button north/button" in page


def test_a_press_that_the_broker_kept_too_long_marks_nothing_and_is_told(
    program: tuple[Program, Any, Any], publish: Any, until: Any
) -> None:
    kitchen, broker, _ = program
    kitchen.post("/v1/pots", {"name": "North", "button": "north/button"})
    batch = kitchen.post("/v1/batches", {"name": "Monday", "pot": "North"})["id"]
    now = time.time()

    publish(broker, "kitchen/buttons/north", [frame(now - 420, False), frame(now - 400, True)])

    until(lambda: kitchen.get("/v1/alarms")["alarms"], "it is told", DEADLINE_S)
    assert "more than 5 min late" in json.dumps(kitchen.get("/v1/alarms"))
    assert marks(kitchen, batch) == []


def test_a_counter_on_a_serial_line_serves_as_a_button(
    program: tuple[Program, Any, Any], until: Any
) -> None:
    kitchen, _, line = program
    kitchen.post("/v1/pots", {"name": "South", "button": "south/button"})
    batch = kitchen.post("/v1/batches", {"name": "Monday", "pot": "South"})["id"]

    def heard(value: float) -> bool:
        found = kitchen.get("/v1/instruments")["instruments"]
        return any(
            one["series"] == "south/button" and (one["last"] or {}).get("value") == value
            for one in found
        )

    line.write(b"B0\r\n")
    until(lambda: heard(0.0), "the line is heard", DEADLINE_S)
    line.write(b"B1\r\n")

    until(lambda: marks(kitchen, batch) == [("heat", "button")], "it is marked", DEADLINE_S)


def _seconds(text: str) -> float:
    from api.times import parse_ms

    return parse_ms(text) / 1000.0
