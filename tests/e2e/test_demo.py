"""The demo as a newcomer starts it: one command, real processes, real lines."""

from __future__ import annotations

import json
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest

pytestmark = pytest.mark.e2e

COMMAND = [sys.executable, "-P", "-m", "api.cli", "demo"]


class Demo:
    """A running demo."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.log = folder / "demo.log"
        command = [*COMMAND, "--port", "0", "--data", str(folder / "data"), *options]
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(command, stdout=out, stderr=out, cwd=folder)

    @property
    def address(self) -> str:
        found = re.search(r"Curdwright is at (http://\S+)/", self.log.read_text())
        return found.group(1) if found else ""

    def get(self, path: str) -> Any:
        with urllib.request.urlopen(self.address + path) as answer:
            return json.load(answer)

    def stop(self) -> int:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        return self.process.wait(30)


@pytest.fixture
def demos(tmp_path: Path) -> Iterator[Callable[..., Demo]]:
    started: list[Demo] = []

    def start(*options: str) -> Demo:
        started.append(Demo(tmp_path, *options))
        return started[-1]

    yield start
    for demo in started:
        demo.stop()
        print(demo.log.read_text()[-3000:])  # shown only if the test failed


def _told(demo: Demo) -> bool:
    try:
        return len(demo.get("/v1/batches?state=closed")["batches"]) == 2
    except (OSError, ValueError):
        return False


@pytest.mark.timeout(300)
def test_it_opens_with_two_finished_batches_and_a_pot_before_its_target(
    demos: Callable[..., Demo], until: Any
) -> None:
    demo = demos()
    until(lambda: demo.address and _told(demo), "the history is told", 120.0)
    children = psutil.Process(demo.process.pid).children(recursive=True)

    batches = {batch["name"]: batch for batch in demo.get("/v1/batches")["batches"]}
    north = next(batch for name, batch in batches.items() if name.startswith("North"))
    assert sorted(batch["state"] for batch in batches.values()) == [
        "closed",
        "closed",
        "running",
        "soaking",
    ]
    curve = demo.get("/v1/readings?series=north/milk&points=50")["readings"]
    assert 80.0 < curve[-1][1] < 84.0  # on its way down to 80 degC
    holds = {
        hold["hold"]: hold["verdict"]
        for hold in demo.get(f"/v1/batches/{north['id']}/analysis")["holds"]
    }
    assert holds["boil"] == "met"
    past = next(b for b in batches.values() if b["state"] == "closed" and b["pot"] == "South")
    suspects = demo.get(f"/v1/batches/{past['id']}/analysis")["balance"]["test"]["suspects"]
    assert ["pulp"] in suspects  # its pulp was mistyped

    assert demo.stop() == 0
    _, alive = psutil.wait_procs(children, timeout=5)
    assert alive == []


@pytest.mark.timeout(300)
def test_it_needs_no_broker(demos: Callable[..., Demo], until: Any) -> None:
    demo = demos("--no-broker")

    until(lambda: "/" in demo.address, "it answers", 60.0)
    until(
        lambda: any(
            i["series"] == "small/milk" for i in demo.get("/v1/instruments")["instruments"]
        ),
        "the probe on the pseudo-terminal is heard",
        60.0,
    )
    assert "broker" not in demo.log.read_text().split("Data:")[0]


def test_a_port_in_use_is_told_before_anything_is_made(tmp_path: Path, free_port: int) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", free_port))
        taken.listen()
        done = subprocess.run(
            [*COMMAND, "--port", str(free_port), "--data", str(tmp_path / "data")],
            capture_output=True,
            text=True,
            cwd=tmp_path,
        )

    assert done.returncode == 1
    assert f"Port {free_port} is in use. Stop the program that uses it" in done.stderr
    assert not (tmp_path / "data").exists()
