"""What the tests of notices share: web hooks, served kitchens, and a post that tries quickly."""

from __future__ import annotations

import asyncio
import json
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from api.kitchen import Kitchen, open_kitchen
from api.times import format_ms
from api.watch.outbox import RetryPlan
from api.watch.post import Post
from api.watch.route_book import RouteBook
from api.watch.watch import Watch
from collector.readings import Reading, TimeSource
from collector.store.sqlite import SqliteStore

if TYPE_CHECKING:
    from tests.e2e.conftest import Until

CALM = "calm seed"
QUICK = RetryPlan(first_ms=30, longest_ms=300)


class Hook:
    """A web hook on loopback that says of each message whether it takes it."""

    secret = "tok3n-open-sesame"

    def __init__(self, port: int = 0) -> None:
        self.tried: list[str] = []
        self.taken: list[str] = []
        self.titles: list[str] = []
        self.paths: list[str] = []
        self.refusals = 0
        self.gate = threading.Event()
        self.gate.set()
        self._server = ThreadingHTTPServer(("127.0.0.1", port), handler_of(self))
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    @property
    def address(self) -> str:
        return f"json://127.0.0.1:{self.port}/{self.secret}"

    def close(self) -> None:
        self.gate.set()
        self._server.shutdown()
        self._server.server_close()


def handler_of(hook: Hook) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            hook.tried.append(said["message"])
            hook.paths.append(self.path)
            hook.gate.wait(30)
            refused = hook.refusals > 0
            hook.refusals -= refused
            if not refused:
                hook.taken.append(said["message"])
                hook.titles.append(said["title"])
            self.send_response(500 if refused else 200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None: ...

    return Handler


@pytest.fixture
def hooks() -> Iterator[Callable[..., Hook]]:
    opened: list[Hook] = []

    def open_hook(port: int = 0) -> Hook:
        opened.append(Hook(port))
        return opened[-1]

    yield open_hook
    for hook in opened:
        hook.close()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def free_port() -> int:
    return _free_port()


class Site:
    """A served kitchen, as a process of its own, called over HTTP."""

    def __init__(self, data_dir: Path) -> None:
        self.data_dir = data_dir
        self.port = _free_port()
        self.log = data_dir.with_suffix(".log")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [sys.executable, "-P", "-m", "api.cli", "serve", "--data", str(self.data_dir)]
        with self.log.open("ab") as out:
            self._process = subprocess.Popen(
                [*command, "--port", str(self.port)], stdout=out, stderr=out
            )

    def kill(self) -> None:
        self._end(signal.SIGKILL)

    def stop(self) -> int:
        return self._end(signal.SIGTERM)

    def _end(self, number: signal.Signals) -> int:
        assert self._process is not None
        if self._process.poll() is None:
            self._process.send_signal(number)
        return self._process.wait(20)

    def answers(self) -> bool:
        assert self._process is not None and self._process.poll() is None, self.log.read_text()
        try:
            return bool(self.get("/healthz"))
        except OSError:
            return False

    def get(self, path: str) -> Any:
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=20) as answer:
            return json.load(answer)

    def post(self, path: str, body: Any) -> Any:
        request = urllib.request.Request(
            f"http://127.0.0.1:{self.port}{path}",
            json.dumps(body).encode(),
            {"Content-Type": "application/json"},
        )
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            raise AssertionError(f"POST {path}: {error.code} {error.read().decode()}") from error

    def batch(self, pot: str, target: float = 80.0) -> str:
        body = {
            "name": f"{pot}, Monday",
            "pot": pot,
            "thermometer": f"{pot.lower()}/milk",
            "target": {"value": target, "unit": "degC"},
            "ingredients": [{"name": CALM}],
        }
        # What is measured here is the target alone: this milk may not foam over before it boils.
        self.post("/v1/ingredients", {"name": CALM, "foam": {"value": 99, "unit": "degC"}})
        return str(self.post("/v1/batches", body)["id"])

    def collect(self, pot: str, *values: float) -> None:
        """What the collector's own process does: the readings are in the store, served or not."""
        store = SqliteStore(self.data_dir / "readings.sqlite3")
        now_ms = time.time_ns() // 1_000_000
        first_ms = now_ms - 1000 * len(values)
        store.append(
            [
                Reading(
                    f"{pot.lower()}/milk",
                    value,
                    "Cel",
                    first_ms + 1000 * number,
                    TimeSource.INSTRUMENT,
                    now_ms,
                )
                for number, value in enumerate(values)
            ]
        )
        store.close()

    def alarms(self) -> list[dict[str, Any]]:
        """Return the targets reached; on a slow day the silence of a probe is an alarm, too."""
        found = self.get("/v1/alarms")["alarms"]
        return [alarm for alarm in found if alarm["about"] == "target"]

    def sendings(self) -> list[dict[str, Any]]:
        found = self.get("/v1/notices")["notices"]
        return [one for said in found if said["about"] == "target" for one in said["sendings"]]


@pytest.fixture
def site(tmp_path: Path, until: Until) -> Iterator[Site]:
    served = Site(tmp_path / "kitchen")
    served.start()
    until(served.answers, "the server answers", 60.0)
    yield served
    served.stop()


class Staffed:
    """A kitchen whose watch and post run in a thread, with a post that tries again quickly."""

    def __init__(self, kitchen: Kitchen) -> None:
        self.kitchen = kitchen
        self.post = Post(kitchen, plan=QUICK)
        self._begun = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._run()))
        self._thread.start()
        assert self._begun.wait(20)

    async def _run(self) -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        watch = Watch(self.kitchen, self.post)
        tasks = [asyncio.create_task(watch.run()), asyncio.create_task(self.post.run())]
        self._begun.set()
        await self._stop.wait()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    def stop(self) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(30)
        assert not self._thread.is_alive()

    def route(self, name: str, address: str) -> None:
        RouteBook(self.kitchen.journal).add_route(name, address, route_id=None, who="")

    def cross(self, pot: str) -> None:
        """Start a batch in a pot and bring it over its target."""
        now_ms = self.kitchen.now_ms()
        body = {
            "name": pot,
            "pot": pot,
            "thermometer": pot,
            "target": {"value": 80, "unit": "degC"},
            "started_at": format_ms(now_ms),
        }
        self.kitchen.journal.start_batch(body, record_id=None, who="")
        for number, value in enumerate((78.0, 79.0, 80.5)):
            time_ms = now_ms + number
            source = TimeSource.INSTRUMENT
            self.kitchen.readings.append([Reading(pot, value, "Cel", time_ms, source, time_ms)])

    def tries(self) -> list[tuple[str, int]]:
        with self.kitchen.journal.engine.connect() as connection:
            rows = connection.exec_driver_sql("SELECT state, tries FROM notice ORDER BY number")
            return [(str(state), int(tries)) for state, tries in rows]


@pytest.fixture
def staffed(tmp_path: Path) -> Iterator[Staffed]:
    kitchen = open_kitchen(tmp_path / "kitchen")
    running = Staffed(kitchen)
    yield running
    running.stop()
    kitchen.close()
