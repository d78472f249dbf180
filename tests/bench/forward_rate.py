# SPDX-License-Identifier: MIT
"""Readings a second from the file to an engine, beside influxdb-client alone in the same run.

    python tests/bench/forward_rate.py [readings] [rounds]

A real VictoriaMetrics on loopback takes the same readings three times in each round, the ways
taking turns: the forwarder, out of the readings file; the client library with its own points, out
of memory, as a script would write them; and the client library with lines that are ready, which is
as fast as it can be. None is compressed, as nothing is that stays on one machine. Each way has its
own time window, and in each round the engine must show every forwarded reading once. Medians.
"""

from __future__ import annotations

import json
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write.point import Point
from influxdb_client.client.write_api import SYNCHRONOUS

from collector.forward import Forwarder
from collector.forward_engine import EngineSettings, LineEngine
from collector.forward_lines import lines_of
from collector.readings import Reading, TimeSource
from collector.store.protocol import Arrived
from collector.store.sqlite import SqliteStore

BATCH = 5000
POTS = 10
FIRST_MS = 1_700_000_000_000
DEADLINE_S = 60.0


@contextmanager
def engine(folder: Path) -> Iterator[str]:
    """Run an engine on a free loopback port, and yield its address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        address = f"127.0.0.1:{probe.getsockname()[1]}"
    command = ["victoria-metrics", f"-storageDataPath={folder}", f"-httpListenAddr={address}"]
    command += ["-retentionPeriod=100y", "-dedup.minScrapeInterval=1ms", "-loggerLevel=ERROR"]
    with subprocess.Popen(command) as process:
        try:
            end = time.monotonic() + DEADLINE_S
            while not answers(f"http://{address}/health"):
                if process.poll() is not None or time.monotonic() > end:
                    sys.exit("the engine does not start; see what it says above")
                time.sleep(0.05)
            yield f"http://{address}"
        finally:
            process.terminate()


def answers(url: str) -> bool:
    """Tell whether something answers at an address."""
    try:
        with urllib.request.urlopen(url, timeout=DEADLINE_S):
            return True
    except OSError:
        return False


def readings(count: int, first_ms: int) -> list[Reading]:
    """Return readings of ten probes at 1 Hz with a display step of 0.0625 degC."""
    found = []
    for n in range(count):
        at = first_ms + n // POTS * 1000
        value = 20 + n // POTS % 1200 * 0.0625
        found.append(
            Reading(f"pot-{n % POTS}/milk", value, "Cel", at, TimeSource.INSTRUMENT, at + 40)
        )
    return found


def forwarded(store: SqliteStore, url: str) -> float:
    """Ship all that the file has, and return how long that took [s]."""
    settings = EngineSettings(url, "token", "TOKEN", "org", "bucket", compressed=False)
    forwarder = Forwarder(lambda: store, lambda: LineEngine(settings), name=url, limit=BATCH)
    wanted = store.last_arrival() - store.cursor("forward")
    begun = time.perf_counter()
    while forwarder.total.sent < wanted:
        if forwarder.step() > 0 and forwarder.total.sent < wanted:
            sys.exit("the engine refuses what it is sent")
    return time.perf_counter() - begun


def written(batches: Iterator[Any], url: str) -> float:
    """Write batches by the client library alone, and return how long that took [s]."""
    client: Any = InfluxDBClient(url=url, token="token", org="org")
    writer = client.write_api(write_options=SYNCHRONOUS)
    begun = time.perf_counter()
    for batch in batches:
        writer.write(bucket="bucket", org="org", record=batch, write_precision="ms")
    took_s = time.perf_counter() - begun
    client.close()
    return took_s


def points(found: Sequence[Reading]) -> Iterator[list[Any]]:
    """Yield batches of the library's own points, made as they are wanted."""
    point: Any = Point
    for start in range(0, len(found), BATCH):
        yield [
            point("reading")
            .tag("series", r.series)
            .tag("unit", r.unit)
            .tag("quality", r.quality.word)
            .field("value", r.value)
            .time(r.time_ms, "ms")
            for r in found[start : start + BATCH]
        ]


def shown(url: str, first_ms: int, count: int) -> int:
    """Return how many readings the engine shows in a time window."""
    for _ in range(100):
        with urllib.request.urlopen(f"{url}/internal/force_flush", timeout=DEADLINE_S):
            pass
        window = f"start={first_ms / 1000}&end={(first_ms + count * 1000 // POTS) / 1000}"
        query = f"{url}/api/v1/export?match[]=reading_value&{window}"
        with urllib.request.urlopen(query, timeout=DEADLINE_S) as answer:
            found = sum(len(json.loads(line)["timestamps"]) for line in answer)
        if found >= count:
            break
        time.sleep(0.1)
    return found


def one_round(
    folder: Path, url: str, count: int, first_ms: int, *, first_way: int
) -> dict[str, float]:
    """Return readings a second of each way, beginning with another way each time."""
    span_ms = count * 1000 // POTS + 1000
    starts = [first_ms + k * span_ms for k in range(3)]
    store = SqliteStore(folder / f"readings-{first_ms}.sqlite3")
    stored = readings(count, starts[0])
    for start in range(0, count, 10_000):
        store.append(stored[start : start + 10_000])
    plain = readings(count, starts[1])
    lines = [
        lines_of([Arrived(n, r) for n, r in enumerate(plain[start : start + BATCH])]).body
        for start in range(0, count, BATCH)
    ]
    ways: dict[str, Callable[[], float]] = {
        "forwarder": lambda: forwarded(store, url),
        "points": lambda: written(points(readings(count, starts[2])), url),
        "ready lines": lambda: written(iter(lines), url),
    }
    names = list(ways)
    turn = names[first_way % 3 :] + names[: first_way % 3]
    rates = {way: count / ways[way]() for way in turn}
    if (found := shown(url, starts[0], count)) != count:
        sys.exit(f"{count} readings were forwarded, and the engine shows {found}")
    store.close()
    return rates


def main(count: int = 200_000, rounds: int = 5) -> None:
    """Run and print one line."""
    with tempfile.TemporaryDirectory() as name, engine(Path(name) / "engine") as url:
        span_ms = 4 * (count * 1000 // POTS + 1000)
        found = [
            one_round(Path(name), url, count, FIRST_MS + k * span_ms, first_way=k)
            for k in range(rounds)
        ]
    rate = {way: statistics.median(each[way] for each in found) for way in found[0]}
    ratio = {
        way: statistics.median(each["forwarder"] / each[way] for each in found) for way in found[0]
    }
    print(
        f"forwarded from the file: {rate['forwarder']:,.0f} readings/s; influxdb-client alone: "
        f"with its points {rate['points']:,.0f}/s (ratio {ratio['points']:.2f}), with lines that "
        f"are ready {rate['ready lines']:,.0f}/s (ratio {ratio['ready lines']:.2f}); medians of "
        f"{rounds} rounds of {count:,}"
    )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]))
