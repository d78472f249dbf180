"""From the kitchen's file to a real engine: killed, away, refusing, or dropping in silence."""

from __future__ import annotations

import json
import logging
import signal
import socket
import subprocess
import threading
import time
import urllib.parse
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Protocol

import pytest

from collector.errors import EngineLostError
from collector.forward import CURSOR, LOOK_EVERY_S, Forwarder
from collector.forward_engine import EngineSettings, LineEngine
from collector.forward_trail import TRAIL_S
from collector.log import JsonLines
from collector.readings import Quality, Reading, TimeSource, bad_reading
from collector.store.sqlite import SqliteStore

if TYPE_CHECKING:
    from tests.e2e.conftest import Mosquitto, Publish, StartProcess, Until

pytestmark = pytest.mark.e2e
DEADLINE_S = 60.0
TOKEN = "basil-and-thyme"
NOW_MS = time.time_ns() // 1_000_000
Sample = tuple[str, str, str, str, int, float]  # series, unit, quality, site, time_ms, value


class Engine:
    """A real VictoriaMetrics on a free loopback port, with its data in the test's folder."""

    def __init__(self, folder: Path, retention: str) -> None:
        """Start it; a port that somebody took meanwhile is given up."""
        folder.mkdir()
        self._folder = folder
        self._retention = retention
        self._process: subprocess.Popen[bytes] | None = None
        for _ in range(5):
            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                self.url = f"http://127.0.0.1:{probe.getsockname()[1]}"
            self.start()
            if self._running:
                return
        pytest.fail(f"the engine does not start:\n{(folder / 'log.txt').read_text()}")

    def start(self) -> None:
        """Start it on its port, and wait until it answers (or has given up)."""
        command = ["victoria-metrics", f"-storageDataPath={self._folder / 'data'}"]
        command += [f"-httpListenAddr={self.url.removeprefix('http://')}"]
        command += [f"-retentionPeriod={self._retention}", "-dedup.minScrapeInterval=1ms"]
        with (self._folder / "log.txt").open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        end = time.monotonic() + DEADLINE_S
        while self._running and not self._answers():
            assert time.monotonic() < end, "the engine does not answer"
            time.sleep(0.02)

    def kill(self) -> None:
        """End it with signal 9: what it has in memory is gone."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """End it in good order."""
        self._end(signal.SIGTERM)

    def samples(self) -> list[Sample]:
        """Return all that it shows."""
        self._get("/internal/force_flush")
        query = {"match[]": "reading_value", "start": "1", "end": "9000000000"}
        found: list[Sample] = []
        for line in self._get(f"/api/v1/export?{urllib.parse.urlencode(query)}").splitlines():
            of = json.loads(line)
            label = of["metric"]
            head = (label["series"], label.get("unit", ""), label["quality"], label.get("site", ""))
            found += [(*head, *at) for at in zip(of["timestamps"], of["values"], strict=True)]
        return sorted(found)

    @property
    def _running(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def _end(self, number: signal.Signals) -> None:
        if self._process is not None:
            if self._running:
                self._process.send_signal(number)
            self._process.wait(DEADLINE_S)
        self._process = None

    def _get(self, path: str) -> str:
        with urllib.request.urlopen(self.url + path, timeout=DEADLINE_S) as answer:
            return str(answer.read().decode())

    def _answers(self) -> bool:
        with suppress(OSError):
            return self._get("/health") == "OK"
        return False


class StartEngine(Protocol):
    """The type of the `engines` fixture."""

    def __call__(self, retention: str = "100y") -> Engine:
        """Start one more engine."""
        ...


@pytest.fixture
def engines(tmp_path: Path) -> Iterator[StartEngine]:
    """Start real engines."""
    begun: list[Engine] = []

    def start(retention: str = "100y") -> Engine:
        begun.append(Engine(tmp_path / f"engine-{len(begun)}", retention))
        return begun[-1]

    yield start
    for each in begun:
        each.kill()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteStore]:
    """Return the readings file of the test's data folder."""
    (tmp_path / "data").mkdir()
    opened = SqliteStore(tmp_path / "data" / "readings.sqlite3")
    yield opened
    opened.close()


@dataclass(slots=True)
class Clock:
    """A clock that moves only when it is told to."""

    s: float = 0.0

    def __call__(self) -> float:
        return self.s


@dataclass(slots=True)
class Shipping:
    """A forwarder that a test moves step by step, with a clock of the test's own."""

    forwarder: Forwarder
    clock: Clock

    def step(self, times: int = 1) -> None:
        for _ in range(times):
            self.forwarder.step()

    def look(self) -> None:
        """Let the time pass after which it looks at the engine, and step."""
        self.clock.s += LOOK_EVERY_S
        self.step()


def shipping(
    store: SqliteStore, url: str, *, site: str | None = None, limit: int = 5000
) -> Shipping:
    settings = EngineSettings(url, TOKEN, "FERN_TOKEN", "fern-lane", "readings", site)
    clock = Clock()
    forwarder = Forwarder(
        lambda: store, lambda: LineEngine(settings), name=url, site=site, limit=limit, now_s=clock
    )
    return Shipping(forwarder, clock)


def readings(count: int, *, series: str = "north/milk", first_ms: int = NOW_MS) -> list[Reading]:
    times = range(first_ms - 1000 * count, first_ms, 1000)
    return [
        Reading(series, 20 + n % 1000 * 0.0625, "Cel", at, TimeSource.INSTRUMENT, at)
        for n, at in enumerate(times)
    ]


def kept(store: SqliteStore, site: str = "") -> list[Sample]:
    """Return what an engine should show of the file."""
    found = [arrived.reading for arrived in store.since(0, 10**6)]
    return sorted(
        (r.series, r.unit, r.quality.word, site, r.time_ms, r.value)
        for r in found
        if r.value is not None
    )


class Said(logging.Handler):
    """Keeps what was logged, as the lines that are written."""

    def __init__(self) -> None:
        super().__init__()
        self.setFormatter(JsonLines())
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(self.format(record))

    def events(self) -> list[str]:
        return [json.loads(line)["event"] for line in self.lines]


@pytest.fixture
def said() -> Iterator[Said]:
    """Keep everything that any library logs while the test runs, down to its details."""
    root, handler = logging.getLogger(), Said()
    level = root.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    yield handler
    root.removeHandler(handler)
    root.setLevel(level)


def test_series_values_and_times_are_read_back_as_they_are_in_the_file(
    engines: StartEngine, store: SqliteStore
) -> None:
    engine = engines()
    odd = [("a/b-c:d.e_9", "°C", -0.0625), ("scale", "kg, net=1", 12.34), ("humid", "%RH", 1e21)]
    store.append(readings(7000))
    store.append([replace(readings(1)[0], series=s, unit=u, value=v) for s, u, v in odd])
    suspect = replace(readings(1, series="south/milk")[0], quality=Quality.SUSPECT, unit="")
    store.append([suspect, bad_reading("south/milk", "no number", b"?!", NOW_MS)])
    ships = shipping(store, engine.url, site="Fern Lane, back door")
    ships.step(3)
    assert engine.samples() == kept(store, "Fern Lane, back door")
    total = ships.forwarder.total
    assert (total.sent, total.sent_again, total.left_out) == (7004, 0, 1)


@pytest.mark.parametrize("path", ["", "/influx", "/influx/"])
def test_after_signal_9_all_behind_the_cursor_is_sent_again_and_kept_once(
    engines: StartEngine, store: SqliteStore, said: Said, path: str
) -> None:
    engine = engines()
    ships = shipping(store, engine.url + path)
    store.append(readings(3000, first_ms=NOW_MS - 10_000_000))
    ships.step()
    engine.kill()
    store.append(readings(50))
    ships.step(2)
    assert store.cursor(CURSOR) == 0
    engine.start()
    ships.step()
    assert engine.samples() == kept(store)
    assert ships.forwarder.total.sent_again == 3000
    events = [event for event in said.events() if event.startswith("the central engine is")]
    assert events == ["the central engine is lost", "the central engine is back"]


def test_a_kill_and_return_between_two_writes_is_noticed(
    engines: StartEngine, store: SqliteStore, said: Said, until: Until
) -> None:
    engine = engines()
    begun_s = int(time.time())
    ships = shipping(store, engine.url)
    store.append(readings(3000, first_ms=NOW_MS - 10_000_000))
    ships.step()
    until(lambda: time.time() > begun_s + 1, "another second has come, which is what it tells")
    engine.kill()
    engine.start()
    store.append(readings(50))
    ships.look()
    assert engine.samples() == kept(store)
    assert "the central engine was begun anew" in said.events()
    assert "the central engine is lost" not in said.events()


def test_the_cursor_follows_a_minute_behind_an_engine_that_runs_on(
    engines: StartEngine, store: SqliteStore, said: Said
) -> None:
    engine = engines()
    ships = shipping(store, engine.url)
    store.append(readings(100))
    ships.step()
    engine.samples()
    while ships.clock.s < TRAIL_S:
        assert store.cursor(CURSOR) == 0
        ships.look()
    assert store.cursor(CURSOR) == 100
    assert not any("does not" in event for event in said.events())


def test_an_engine_that_drops_old_readings_in_silence_is_told(
    engines: StartEngine, store: SqliteStore, said: Said
) -> None:
    engine = engines(retention="1d")
    store.append(readings(10, first_ms=NOW_MS - 90 * 86_400_000))
    ships = shipping(store, engine.url)
    while ships.clock.s <= TRAIL_S + LOOK_EVERY_S:
        ships.look()
    assert ships.forwarder.total.sent == 10
    assert engine.samples() == []
    assert sum("does not show a reading" in event for event in said.events()) == 1


def forward_stanza(url: str) -> str:
    lines = ["[forward]", f'url = "{url}"', 'token_env = "FERN_TOKEN"', 'org = "o"', 'bucket = "b"']
    return "\n".join([*lines, 'site = "Fern Lane"']) + "\n"


def test_a_collector_goes_on_while_its_engine_is_killed_and_nothing_is_missing_at_the_end(
    engines: StartEngine,
    store: SqliteStore,
    mosquitto: Mosquitto,
    publish: Publish,
    collector_process: StartProcess,
    until: Until,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("FERN_TOKEN", TOKEN)
    engine, broker = engines(), mosquitto()
    text = f'[[mqtt]]\nport = {broker.port}\nclient_id = "fern"\n[[mqtt.topics]]\n'
    text += 'filter = "pots/#"\npayload = "number"\nunit = "Cel"\n' + forward_stanza(engine.url)
    collector = collector_process(text)
    until(lambda: broker.told("Sending SUBACK"), "the collector listens")
    said = 0

    def say(count: int) -> None:
        nonlocal said
        for pot in ("north", "south"):
            values = [str(20 + n * 0.0625) for n in range(count)]
            publish(broker, f"pots/{pot}/milk", [*values, "hot"])
        said += 2 * count
        until(lambda: len(kept(store)) == said, "it is all committed")

    def forwarded() -> bool:
        return engine.samples() == kept(store, "Fern Lane")

    say(200)
    until(forwarded, "the engine has it", DEADLINE_S)
    say(100)
    engine.kill()
    say(100)
    engine.start()
    say(100)
    until(forwarded, "the engine has what it missed and what it lost", DEADLINE_S)
    say(100)
    engine.kill()
    engine.start()
    until(forwarded, "the engine has what it lost", DEADLINE_S)
    assert Counter(sample[0] for sample in engine.samples()) == {
        "pots/north/milk": 600,
        "pots/south/milk": 600,
    }
    assert collector.end() == 0
    ended = [json.loads(line) for line in collector.log.read_text().splitlines()]
    (total,) = [line for line in ended if line["event"] == "forwarding ended"]
    assert total["sent"] == said
    assert total["left_out"] > 0
    assert TOKEN not in collector.log.read_text()


def test_a_collector_whose_engine_never_answers_ends_in_good_order(
    store: SqliteStore, collector_process: StartProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FERN_TOKEN", TOKEN)
    store.append(readings(10))
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        deaf.settimeout(DEADLINE_S)
        collector = collector_process(forward_stanza(f"http://127.0.0.1:{deaf.getsockname()[1]}"))
        with deaf.accept()[0]:
            assert collector.end() == 0
    assert "forwarding ended" in collector.events()


class Refusing(BaseHTTPRequestHandler):
    """Answers every write as the test says; tells no run."""

    protocol_version = "HTTP/1.1"
    answer: ClassVar[Callable[[int], tuple[int, str]]]
    lengths: ClassVar[list[int]]

    def do_GET(self) -> None:
        self._say(404, "")

    def do_POST(self) -> None:
        length = int(self.headers["Content-Length"])
        self.rfile.read(length)
        self.lengths.append(length)
        given = self.headers["Authorization"]
        status, message = type(self).answer(length)
        self._say(status, json.dumps({"message": f"{message} {given}"}) if message else "")

    def _say(self, status: int, body: str) -> None:
        self.send_response(status)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body.encode())

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


class Refuse(Protocol):
    """The type of the `refusing` fixture."""

    def __call__(self, answer: Callable[[int], tuple[int, str]]) -> tuple[str, list[int]]:
        """Return the address of an engine that answers so, and the lengths of what it was sent."""
        ...


@pytest.fixture
def refusing() -> Iterator[Refuse]:
    """Start servers that answer writes with a status and a message."""
    begun: list[ThreadingHTTPServer] = []

    def start(answer: Callable[[int], tuple[int, str]]) -> tuple[str, list[int]]:
        lengths: list[int] = []
        handler = type("Handler", (Refusing,), {"answer": staticmethod(answer), "lengths": lengths})
        begun.append(ThreadingHTTPServer(("127.0.0.1", 0), handler))
        threading.Thread(target=begun[-1].serve_forever, daemon=True).start()
        return f"http://127.0.0.1:{begun[-1].server_port}", lengths

    yield start
    for each in begun:
        each.shutdown()
        each.server_close()


@pytest.mark.parametrize(
    ("status", "advice"),
    [(401, "the token in FERN_TOKEN"), (404, "url, org and bucket"), (503, "tried again until")],
)
def test_a_refusal_says_what_to_do_and_never_the_token(
    refusing: Refuse, store: SqliteStore, said: Said, status: int, advice: str
) -> None:
    url, _ = refusing(lambda _: (status, "not you, with"))
    store.append(readings(10))
    ships = shipping(store, url)
    ships.step(5)
    (lost,) = [line for line in said.lines if "the central engine is lost" in line]
    assert f"{status}: not you, with Token …" in json.loads(lost)["error"]
    assert advice in json.loads(lost)["error"]
    assert not [line for line in said.lines if TOKEN in line]
    assert ships.forwarder.total.sent == 0


def test_requests_that_are_too_large_are_made_smaller_until_they_are_taken(
    refusing: Refuse, store: SqliteStore, said: Said
) -> None:
    url, lengths = refusing(lambda length: (413, "too large") if length > 2000 else (204, ""))
    store.append(readings(2000))
    ships = shipping(store, url)
    ships.step(60)
    assert ships.forwarder.total.sent == 2000
    assert lengths[0] > 2000 > lengths[-1]
    assert "the central engine is lost" not in said.events()


def test_points_dropped_for_their_age_are_counted_and_passed(
    refusing: Refuse, store: SqliteStore
) -> None:
    words = "failure writing points to database: partial write: points beyond retention policy "
    url, _ = refusing(lambda _: (422, words + "dropped=4"))
    store.append(readings(10))
    ships = shipping(store, url)
    ships.step(3)
    assert (ships.forwarder.total.sent, ships.forwarder.total.too_old) == (10, 4)


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_an_engine_that_is_not_there_is_a_loss_with_an_address_and_no_token(
    scheme: str, refusing: Refuse
) -> None:
    url, _ = refusing(lambda _: (204, ""))
    url = url.replace("http", scheme) if scheme == "https" else "http://127.0.0.1:9"
    engine = LineEngine(EngineSettings(url, TOKEN, "FERN_TOKEN", "o", "b"))
    for call in (engine.run_id, lambda: engine.write(b"reading value=1 1")):
        with pytest.raises(EngineLostError, match="can't be reached") as caught:
            call()
        assert str(caught.value).startswith(f"{url}: ")
        assert TOKEN not in str(caught.value)
        assert caught.value.status is None
    engine.close()
