"""Notices by a real web hook and a real broker, from a real server that is killed and started."""

from __future__ import annotations

import asyncio
import http.client
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
from typing import Any, Protocol

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from api.kitchen import Kitchen, open_kitchen
from api.times import format_ms
from api.verifying import verify_folder
from api.watch.outbox import RetryPlan
from api.watch.post import Post
from api.watch.route_book import RouteBook
from api.watch.watch import Watch
from collector.readings import Reading, TimeSource
from collector.store.sqlite import SqliteStore

pytestmark = pytest.mark.e2e

QUICK = RetryPlan(first_ms=30, longest_ms=300)
SECRET = "tok3n-open-sesame"


class Until(Protocol):
    def __call__(self, fact: Callable[[], object], what: str, deadline_s: float = 20.0) -> None: ...


class BrokerLike(Protocol):
    port: int


class Hook:
    """A web hook on loopback that says of each message whether it takes it."""

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
        return f"json://127.0.0.1:{self.port}/{SECRET}"

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


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Site:
    """A served kitchen, as a process of its own, called over HTTP."""

    def __init__(self, data_dir: Path) -> None:
        self.data_dir = data_dir
        self.port = free_port()
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
        }
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
        return list(self.get("/v1/alarms")["alarms"])

    def sendings(self) -> list[dict[str, Any]]:
        return [one for notice in self.get("/v1/notices")["notices"] for one in notice["sendings"]]


@pytest.fixture
def site(tmp_path: Path, until: Until) -> Iterator[Site]:
    served = Site(tmp_path / "kitchen")
    served.start()
    until(served.answers, "the server answers")
    yield served
    served.stop()


def test_a_crossing_goes_from_the_reading_to_the_page_and_the_web_hook(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    route = site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})
    batch = site.batch("North", 82.0)
    page = http.client.HTTPConnection("127.0.0.1", site.port, timeout=20)
    page.request("GET", f"/v1/live?batch={batch}")
    stream = page.getresponse()
    assert stream.readline() == b"retry: 1000\n"

    site.collect("North", 81.0, 81.5, 82.5)

    event: dict[str, str] = {}
    while event.get("event") != "alarm":
        event = dict(line.split(": ", 1) for line in _lines_of_event(stream) if ": " in line)
    page.close()
    alarm = json.loads(event["data"])
    assert (alarm["batch"], alarm["text"]) == (batch, "North: passing 82 degC, rising")
    until(lambda: hook.taken, "the web hook has it")
    assert hook.taken == ["North: passing 82 degC, rising"]
    assert hook.titles == ["North: passing 82 degC"]
    until(lambda: [s["state"] for s in site.sendings()] == ["sent"], "the sending is recorded")
    (shown,) = site.get("/v1/notices/routes")["routes"]
    assert shown["id"] == route["id"] and shown["proven_at"] is not None
    assert SECRET not in json.dumps([shown, site.get("/v1/notices"), route])


def _lines_of_event(stream: http.client.HTTPResponse) -> list[str]:
    lines: list[str] = []
    while (line := stream.readline().decode().rstrip("\n")) or not lines:
        lines += [line] if line else []
    return lines


def test_a_server_killed_between_alarm_and_notice_still_tells_after_the_restart(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    port = free_port()
    site.post("/v1/notices/routes", {"name": "phone", "address": f"json://127.0.0.1:{port}/x"})
    site.batch("North")
    site.collect("North", 78.0, 79.0, 81.0)
    until(lambda: [s for s in site.sendings() if s["tries"] >= 1], "the route was tried in vain")
    (alarm,) = site.alarms()

    site.kill()
    hook = hooks(port)
    site.start()
    until(site.answers, "the server answers again")
    until(lambda: hook.taken, "the web hook has it")
    until(lambda: [s["state"] for s in site.sendings()] == ["sent"], "the sending is recorded")

    assert [text.split(" (Sent late")[0] for text in hook.taken] == [alarm["text"]]
    assert [a["id"] for a in site.alarms()] == [alarm["id"]]


def test_what_was_reached_while_the_server_was_dead_is_told_after_the_restart(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})
    site.batch("North")
    site.collect("North", 76.0, 77.0)
    site.kill()

    site.collect("North", 78.0, 79.0, 81.0)
    site.start()
    until(lambda: hook.taken, "the web hook has it")

    assert hook.taken == ["North: passing 80 degC, rising"]


def test_kills_at_any_moment_end_in_one_notice_for_each_cause(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})
    pots = [f"Pot-{number}" for number in range(5)]
    for pot in pots:
        site.batch(pot)
        site.collect(pot, 76.0, 77.0)

    for number, pot in enumerate(pots):
        site.collect(pot, 78.0, 79.0, 80.5)
        if number % 2:  # some while it judges and sends, some as soon as it is heard
            until(lambda pot=pot: [t for t in hook.tried if pot in t], "it is sent")  # type: ignore[misc]
        site.kill()
        site.start()
        until(site.answers, "the server answers again")

    until(lambda: [s["state"] for s in site.sendings()] == ["sent"] * 5, "all of them are sent")
    texts = sorted(alarm["text"] for alarm in site.alarms())
    assert texts == [f"{pot}: passing 80 degC, rising" for pot in pots]
    assert sorted(set(hook.taken)) == texts
    site.stop()
    assert verify_folder(site.data_dir, say=lambda _: None) == []


def test_a_test_proves_a_route_and_a_failed_one_says_so(
    site: Site, hooks: Callable[..., Hook]
) -> None:
    hook = hooks()
    route = site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})
    path = f"/v1/notices/routes/{route['id']}/test"

    proven = site.post(path, {})
    hook.refusals = 1
    failed = site.post(path, {})

    assert proven["taken"] is True and proven["proven_at"] is not None
    assert failed["taken"] is False and failed["proven_at"] is None
    assert "500" in failed["answer"]
    assert len(hook.taken) == 1 and "test" in hook.taken[0].lower()
    assert site.get("/v1/notices/routes")["routes"][0]["proven_at"] is None
    assert hook.paths == [f"/{SECRET}"] * 2
    assert SECRET not in site.log.read_text() + json.dumps([proven, failed])


def test_a_notice_goes_by_a_real_broker(
    site: Site, mosquitto: Callable[..., BrokerLike], until: Until
) -> None:
    broker = mosquitto()
    heard: list[str] = []
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: heard.append(message.payload.decode())
    client.on_connect = lambda client, *_: client.subscribe("kitchen/notices", qos=1)
    subscribed = threading.Event()
    client.on_subscribe = lambda *_: subscribed.set()
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    assert subscribed.wait(20)
    address = f"mqtt://127.0.0.1:{broker.port}/kitchen/notices?qos=1"
    site.post("/v1/notices/routes", {"name": "lamp", "address": address})
    site.batch("North")

    site.collect("North", 78.0, 79.0, 81.0)

    until(lambda: heard, "the broker has passed it on")
    client.disconnect()
    client.loop_stop()
    assert heard == ["North: passing 80 degC\r\nNorth: passing 80 degC, rising"]


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


def test_a_route_that_fails_three_times_and_then_works_delivers_once(
    staffed: Staffed, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    hook.refusals = 3
    staffed.route("phone", hook.address)

    staffed.cross("North")
    until(lambda: staffed.tries() == [("sent", 4)], "it was taken at the fourth try")

    assert hook.taken == ["North: passing 80 degC, rising"]
    assert len(hook.tried) == 4


def test_a_route_that_comes_back_gets_everything_once_and_in_order(
    staffed: Staffed, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    hook.refusals = 3
    staffed.route("phone", hook.address)
    pots = ["North", "South", "Small"]

    for number, pot in enumerate(pots):
        staffed.cross(pot)
        until(lambda number=number: len(staffed.tries()) == number + 1, "it is to be told")  # type: ignore[misc]
    until(lambda: [s for s, _ in staffed.tries()] == ["sent"] * 3, "all of them are sent")

    assert hook.taken == [f"{pot}: passing 80 degC, rising" for pot in pots]


def test_a_route_that_hangs_or_is_dead_holds_up_no_other(
    staffed: Staffed, hooks: Callable[..., Hook], until: Until
) -> None:
    hanging, phone = hooks(), hooks()
    hanging.gate.clear()
    staffed.route("hanging", hanging.address)
    staffed.route("dead", f"json://127.0.0.1:{free_port()}/x")
    staffed.route("phone", phone.address)

    for pot in ("North", "South"):
        staffed.cross(pot)
        until(lambda pot=pot: [t for t in phone.taken if pot in t], "the phone has it")  # type: ignore[misc]

    assert hanging.tried == ["North: passing 80 degC, rising"]
    assert hanging.taken == []
    hanging.gate.set()
    until(lambda: len(hanging.taken) >= 2, "the hanging route goes on in its order")
    assert hanging.taken[-1] == "South: passing 80 degC, rising"


def test_a_notice_older_than_a_day_is_given_up_and_said_so(
    staffed: Staffed, until: Until, hooks: Callable[..., Hook]
) -> None:
    staffed.route("dead", f"json://127.0.0.1:{free_port()}/x")
    staffed.cross("North")
    until(lambda: [t for _, t in staffed.tries() if t], "it was tried in vain")
    with staffed.kitchen.journal.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE notice SET made_at = '2026-03-02T08:15:00.000Z'")
    staffed.post.wake()

    until(lambda: [s for s, _ in staffed.tries()] == ["given up"], "it is given up")

    batch = staffed.kitchen.journal.batches()[0].id
    chains = staffed.kitchen.journal.chains
    until(lambda: chains.of_kind(batch, "notice_sent"), "the batch's record says so")
    (said,) = chains.of_kind(batch, "notice_sent")
    assert said.body["state"] == "given up"
    assert said.body["answer"].startswith("given up after 24 h and")
    assert chains.verify(batch) == []
