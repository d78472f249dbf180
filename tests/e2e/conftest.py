"""What the end-to-end tests share: real brokers, pseudo-terminal lines, and waiting for facts.

Everything is on loopback, on free ports, in the test's own folder, and is stopped by its pid.
"""

from __future__ import annotations

import asyncio
import json
import os
import select
import signal
import socket
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

import pytest

from collector.clock import RunClock
from collector.config import load_config
from collector.daemon import collect_from
from collector.instruments.protocol import Clock, Instrument
from collector.readings import Quality, Reading
from collector.store.protocol import Appended
from collector.store.sqlite import SqliteStore
from collector.wiring import instruments_of

DEADLINE_S = 20.0


def _until(fact: Callable[[], object], what: str, deadline_s: float = DEADLINE_S) -> None:
    end = time.monotonic() + deadline_s
    while not fact():
        if time.monotonic() > end:
            pytest.fail(f"after {deadline_s:g} s it was still not so that {what}")
        time.sleep(0.01)


class Until(Protocol):
    """The type of the `until` fixture."""

    def __call__(
        self, fact: Callable[[], object], what: str, deadline_s: float = DEADLINE_S
    ) -> None:
        """Wait for `fact` to become true; fail with `what` if it doesn't."""
        ...


@pytest.fixture
def until() -> Until:
    """Wait until a fact is true, looking again and again: `until(lambda: …, "it is so")`."""
    return _until


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def free_port() -> int:
    """Return a port on loopback that nobody listens on."""
    return _free_port()


Setting = str | int | bool | Path


class Broker:
    """A real Mosquitto on a free loopback port, with its own folder and settings."""

    def __init__(
        self, folder: Path, settings: dict[str, Setting], listener: dict[str, Setting]
    ) -> None:
        """Write the settings and start; a port that somebody took meanwhile is given up."""
        folder.mkdir()
        self.folder = folder
        self.log = folder / "log.txt"
        self._settings = settings
        self._listener = listener
        self._process: subprocess.Popen[bytes] | None = None
        for _ in range(5):
            self.port = _free_port()
            self._write()
            self.start()
            if self.running:
                return
        pytest.fail(f"Mosquitto does not start:\n{self.log.read_text()}")

    @property
    def pid(self) -> int:
        """The process id of the running broker."""
        assert self._process is not None
        return self._process.pid

    @property
    def running(self) -> bool:
        """Whether the process lives."""
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        """Start it on its port, and wait until it answers (or has given up)."""
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                ["mosquitto", "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log
            )
        _until(lambda: not self.running or self._answers(), "the broker answers")

    def stop(self) -> None:
        """End it in good order: what it persists is written."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it with signal 9."""
        self._end(signal.SIGKILL)

    def restart(self, *, kill: bool = False) -> None:
        """End it and start it again on the same port."""
        self._end(signal.SIGKILL if kill else signal.SIGTERM)
        self.start()

    def pause(self) -> None:
        """Freeze it: connections stay open, nothing is answered."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def resume(self) -> None:
        """Let a frozen broker go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def told(self, what: str) -> int:
        """Return how many lines of the broker's log hold this text."""
        return sum(what in line for line in self.log.read_text(errors="replace").splitlines())

    def _end(self, number: signal.Signals) -> None:
        if self._process is None:
            return
        if self.running:
            self._process.send_signal(signal.SIGCONT)
            self._process.send_signal(number)
        self._process.wait(DEADLINE_S)
        self._process = None

    def _answers(self) -> bool:
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1.0):
            return True
        return False

    def _write(self) -> None:
        common: dict[str, Setting] = {
            "user": "root" if os.geteuid() == 0 else os.environ.get("USER", "nobody"),
            "persistence_location": f"{self.folder}/",
            "allow_anonymous": True,
            "log_dest": "stderr",
            "log_type": "all",
            **self._settings,
        }
        lines = [f"{key} {_said(value)}" for key, value in common.items()]
        lines.append(f"listener {self.port} 127.0.0.1")
        lines += [f"{key} {_said(value)}" for key, value in self._listener.items()]
        (self.folder / "mosquitto.conf").write_text("\n".join(lines) + "\n")


def _said(value: Setting) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


class Publish(Protocol):
    """The type of the `publish` fixture."""

    def __call__(
        self,
        broker: Broker,
        topic: str,
        payloads: Sequence[str],
        *,
        qos: int = 1,
        retain: bool = False,
    ) -> None:
        """Publish each payload as a message, and wait until the broker has them."""
        ...


@pytest.fixture
def publish() -> Publish:
    """Publish by a client of its own: `publish(broker, "kitchen/t", ["21.5"])`."""

    def send(
        broker: Broker,
        topic: str,
        payloads: Sequence[str],
        *,
        qos: int = 1,
        retain: bool = False,
    ) -> None:
        command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(broker.port), "-V", "5"]
        command += ["-t", topic, "-q", str(qos), "-l", *(["-r"] if retain else [])]
        text = "".join(f"{payload}\n" for payload in payloads)
        subprocess.run(command, input=text.encode(), check=True, timeout=DEADLINE_S)

    return send


class Mosquitto(Protocol):
    """The type of the `mosquitto` fixture."""

    def __call__(
        self, *, listener: dict[str, Setting] | None = None, **settings: Setting
    ) -> Broker:
        """Start one more broker; `listener` holds what must stand under its listener."""
        ...


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """Start real brokers: `mosquitto(persistence=True, max_queued_messages=0)`."""
    brokers: list[Broker] = []

    def start(*, listener: dict[str, Setting] | None = None, **settings: Setting) -> Broker:
        folder = tmp_path / f"broker-{len(brokers)}"
        brokers.append(Broker(folder, settings, listener or {}))
        return brokers[-1]

    yield start
    for broker in brokers:
        broker.kill()


class PtyLine:
    """A serial line as the instrument's end sees it, behind a path that stays the same."""

    def __init__(self, path: Path) -> None:
        """Plug it in."""
        self.path = path
        self._master: int | None = None
        self._slave: int | None = None
        self.replug()

    @property
    def device(self) -> Path:
        """The device that the stable path points to at the moment."""
        return self.path.readlink()

    def write(self, data: bytes) -> None:
        """Say something, as the instrument."""
        assert self._master is not None
        while data:
            data = data[os.write(self._master, data) :]

    def read(self, size: int, deadline_s: float = DEADLINE_S) -> bytes:
        """Return the next `size` bytes that the other end sent, or fewer after the deadline."""
        assert self._master is not None
        found = b""
        end = time.monotonic() + deadline_s
        while len(found) < size and (left := end - time.monotonic()) > 0:
            if select.select([self._master], [], [], left)[0]:
                found += os.read(self._master, size - len(found))
        return found

    def unplug(self, *, dangling: bool = False) -> None:
        """Pull the plug; the path goes away, or with `dangling` stays and leads nowhere."""
        for end in (self._master, self._slave):
            if end is not None:
                os.close(end)
        self._master = self._slave = None
        if not dangling:
            self.path.unlink(missing_ok=True)

    def replug(self) -> None:
        """Plug it in again: another device, the same path."""
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)  # no echo before the other end has opened it
        fresh = self.path.with_name(self.path.name + ".new")
        fresh.symlink_to(os.ttyname(self._slave))
        fresh.replace(self.path)


class PtyLines(Protocol):
    """The type of the `pty_lines` fixture."""

    def __call__(self, name: str = "usb-line", *, plugged: bool = True) -> PtyLine:
        """Make one more line; without `plugged` its path does not exist yet."""
        ...


@pytest.fixture
def pty_lines(tmp_path: Path) -> Iterator[PtyLines]:
    """Make any number of pseudo-terminal lines: `pty_lines("usb-scale")`."""
    folder = tmp_path / "by-id"
    folder.mkdir()
    lines: list[PtyLine] = []

    def make(name: str = "usb-line", *, plugged: bool = True) -> PtyLine:
        lines.append(PtyLine(folder / name))
        if not plugged:
            lines[-1].unplug()
        return lines[-1]

    yield make
    for line in lines:
        line.unplug()


@pytest.fixture
def pty_line(pty_lines: PtyLines) -> PtyLine:
    """Return one pseudo-terminal line, plugged in."""
    return pty_lines()


class GatedStore(SqliteStore):
    """A readings file whose commits wait at a gate until the test lets them through.

    Attributes:
        waiting: How many commits stand at the gate.
    """

    def __init__(self, path: Path) -> None:
        """Open the file, and shut the gate."""
        super().__init__(path)
        self.waiting = 0
        self._permits = threading.Semaphore(0)

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Wait at the gate, then commit."""
        self.waiting += 1
        self._permits.acquire()
        self.waiting -= 1
        return super().append(readings)

    def let_through(self, commits: int = 100_000) -> None:
        """Let so many commits pass; without a number, all that will ever come."""
        self._permits.release(commits)


@pytest.fixture
def gated_store(tmp_path: Path) -> Iterator[GatedStore]:
    """Return a store for `collecting(…, store=…)` that commits only when it is let."""
    (tmp_path / "data").mkdir()
    store = GatedStore(tmp_path / "data" / "readings.sqlite3")
    yield store
    store.let_through()


Build = Callable[[Clock], list[Instrument]]


class Collecting:
    """A whole collector in a thread of its own, on the test's data folder.

    Attributes:
        store: Its readings file.
        instruments: Built from the configuration, in its order.
    """

    def __init__(
        self, data_dir: Path, text: str, store: SqliteStore | None, build: Build | None
    ) -> None:
        """Read the configuration and start."""
        data_dir.mkdir(exist_ok=True)
        file = data_dir / "curdwright.toml"
        file.write_text(text)
        config = load_config(file, data_dir)
        self.store = store or SqliteStore(config.readings_path)
        clock = RunClock(self.store.record_clock_step)
        self.instruments = build(clock) if build else instruments_of(config, clock)
        self.left: int | None = None
        self._begun = threading.Event()
        self._clock = clock
        self._thread = threading.Thread(target=lambda: asyncio.run(self._run()))
        self._thread.start()
        assert self._begun.wait(DEADLINE_S)

    async def _run(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        self._begun.set()
        self.left = await collect_from(self.instruments, self.store, self._clock, stop=self._stop)

    def readings(self) -> list[Reading]:
        """Return everything that is stored, in order of arrival."""
        return [arrived.reading for arrived in self.store.since(0, 1_000_000)]

    def values(self, series: str) -> list[float | None]:
        """Return the stored values of a series, in order of arrival."""
        return [reading.value for reading in self.readings() if reading.series == series]

    def bad(self) -> list[Reading]:
        """Return the stored bad readings, in order of arrival."""
        return [reading for reading in self.readings() if reading.quality is Quality.BAD]

    def stop(self) -> int:
        """End it in good order; return how many readings were left uncommitted."""
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(DEADLINE_S)
        assert not self._thread.is_alive()
        assert self.left is not None, "the collector ended with an exception"
        return self.left


class StartCollecting(Protocol):
    """The type of the `collecting` fixture."""

    def __call__(
        self, text: str = "", *, store: SqliteStore | None = None, build: Build | None = None
    ) -> Collecting:
        """Start a collector with this configuration, on the test's one data folder.

        `store` stands in for the readings file, `build` for the configured instruments.
        """
        ...


@pytest.fixture
def collecting(tmp_path: Path) -> Iterator[StartCollecting]:
    """Start real collectors in threads: `collecting(toml)`; they are stopped at the end."""
    begun: list[Collecting] = []

    def start(
        text: str = "", *, store: SqliteStore | None = None, build: Build | None = None
    ) -> Collecting:
        begun.append(Collecting(tmp_path / "data", text, store, build))
        return begun[-1]

    yield start
    for each in begun:
        each.stop()
        each.store.close()


COLLECTOR = """
import os, signal, sys
from pathlib import Path
from collector import daemon
from collector.config import load_config
from collector.errors import CurdwrightError
from collector.store.sqlite import SqliteStore

data_dir, when, limit = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])

class Dies(SqliteStore):
    seen = 0
    def append(self, readings):
        Dies.seen += len(readings)
        if when == "before" and Dies.seen >= limit:
            os.kill(os.getpid(), signal.SIGKILL)
        appended = super().append(readings)
        if when == "after" and Dies.seen >= limit:
            os.kill(os.getpid(), signal.SIGKILL)
        return appended

if when != "never":
    daemon.SqliteStore = Dies
try:
    sys.exit(daemon.run_collector(load_config(None, data_dir), data_dir))
except CurdwrightError as error:
    print(error)
    sys.exit(1)
"""


class CollectorProcess:
    """A collector as a process of its own."""

    def __init__(self, data_dir: Path, when: str, limit: int) -> None:
        """Start it."""
        self.log = data_dir / "log.txt"
        self._errors = data_dir / f"errors-{time.monotonic_ns()}.txt"
        with self.log.open("ab") as log, self._errors.open("wb") as errors:
            self._process = subprocess.Popen(
                [sys.executable, "-c", COLLECTOR, str(data_dir), when, str(limit)],
                stderr=log,
                stdout=errors,
            )
        self.pid = self._process.pid

    @property
    def running(self) -> bool:
        """Whether it lives."""
        return self._process.poll() is None

    def lines(self) -> list[dict[str, Any]]:
        """Return what the log of all processes on this folder says, each line being JSON."""
        return [json.loads(line) for line in self.log.read_text().splitlines()]

    def events(self) -> list[str]:
        """Return what happened, by the log."""
        return [str(line["event"]) for line in self.lines()]

    def errors(self) -> str:
        """Return what this process said when it gave up."""
        return self._errors.read_text()

    def kill(self) -> None:
        """End it with signal 9."""
        self._process.kill()
        self._process.wait(DEADLINE_S)

    def end(self, number: signal.Signals = signal.SIGTERM) -> int:
        """End it in good order and return its exit code."""
        if self.running:
            self._process.send_signal(number)
        return self.wait()

    def wait(self) -> int:
        """Wait until it has ended and return its exit code, -9 if it was killed."""
        return self._process.wait(DEADLINE_S)


class StartProcess(Protocol):
    """The type of the `collector_process` fixture."""

    def __call__(
        self, text: str | None = None, *, when: str = "never", limit: int = 0
    ) -> CollectorProcess:
        """Start a collector process on the test's data folder.

        With `when` it kills itself with signal 9 at its `limit`th reading: "before" the commit, or
        "after" it and before anything is acknowledged. Without a text the last one is used again.
        """
        ...


@pytest.fixture
def collector_process(tmp_path: Path) -> Iterator[StartProcess]:
    """Start collectors as processes: `collector_process(toml)`."""
    data_dir = tmp_path / "data"
    begun: list[CollectorProcess] = []

    def start(text: str | None = None, *, when: str = "never", limit: int = 0) -> CollectorProcess:
        data_dir.mkdir(exist_ok=True)
        if text is not None:
            (data_dir / "curdwright.toml").write_text(text)
        begun.append(CollectorProcess(data_dir, when, limit))
        return begun[-1]

    yield start
    for each in begun:
        each.kill()
