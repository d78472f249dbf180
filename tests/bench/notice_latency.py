# SPDX-License-Identifier: MIT
"""How long from the commit of the crossing reading to the web hook having the notice.

    python tests/bench/notice_latency.py [crossings]

A served kitchen of its own process, three pots in turn, each crossing a batch of its own whose
milk passes its target. The reading is committed as the collector does it, by another process; the
clock runs from the end of that commit to the arrival of the notice's body at a web hook on
loopback. Beside each crossing the same body is posted bare to the same web hook, so that what the
machine needs for a POST today stands in the same table. The goal is 50 ms at the 99th percentile.
"""

from __future__ import annotations

import http.client
import json
import random
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from collector.readings import Reading, TimeSource
from collector.store.sqlite import SqliteStore

POTS = ("North", "South", "Small")
GOAL_MS = 50.0
DEADLINE_S = 60.0
SEED = 7
WARM_UP = 3


class Hook:
    """A web hook that notes when each body had come."""

    def __init__(self) -> None:
        self.came: dict[str, float] = {}
        self.heard = threading.Condition()
        hook = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                now_s = time.perf_counter()
                with hook.heard:
                    hook.came.setdefault(json.loads(body)["title"], now_s)
                    hook.heard.notify_all()
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None: ...

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def when(self, title: str) -> float:
        """Wait for a message and return when it had come [s]."""
        with self.heard:
            if not self.heard.wait_for(lambda: title in self.came, DEADLINE_S):
                sys.exit(f"the web hook never heard {title!r}")
            return self.came[title]

    def close(self) -> None:
        """End it."""
        self._server.shutdown()
        self._server.server_close()


@contextmanager
def served(data_dir: Path) -> Iterator[int]:
    """Serve a kitchen, and yield its port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    command = [sys.executable, "-P", "-m", "api.cli", "serve", "--data", str(data_dir)]
    with (
        data_dir.with_suffix(".log").open("wb") as log,
        subprocess.Popen([*command, "--port", str(port)], stdout=log, stderr=log) as process,
    ):
        try:
            end = time.monotonic() + DEADLINE_S
            while not answers(port):
                if process.poll() is not None or time.monotonic() > end:
                    sys.exit(data_dir.with_suffix(".log").read_text())
                time.sleep(0.05)
            yield port
        finally:
            process.terminate()


def answers(port: int) -> bool:
    """Tell whether the kitchen answers."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=DEADLINE_S):
            return True
    except OSError:
        return False


def post(port: int, path: str, body: Any) -> Any:
    """Post JSON to the kitchen."""
    kind = {"Content-Type": "application/json"}
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}", json.dumps(body).encode(), kind
    )
    with urllib.request.urlopen(request, timeout=DEADLINE_S) as answer:
        return json.load(answer)


def series_of(pot: str) -> str:
    """Return the series of a pot's thermometer."""
    return f"{pot.lower().replace(' ', '-')}/milk"


def reading(pot: str, value: float, ago_ms: int = 0) -> Reading:
    """Return a reading of a pot's thermometer."""
    now_ms = time.time_ns() // 1_000_000
    return Reading(series_of(pot), value, "Cel", now_ms - ago_ms, TimeSource.INSTRUMENT, now_ms)


def crossing_ms(port: int, store: SqliteStore, hook: Hook, number: int) -> float:
    """Bring one pot over its target, and return how long the notice took [ms]."""
    pot = f"{POTS[number % len(POTS)]} {number}"
    body = {
        "name": pot,
        "pot": pot,
        "thermometer": series_of(pot),
        "target": {"value": 80, "unit": "degC"},
    }
    batch = post(port, "/v1/batches", body)["id"]
    store.append([reading(pot, 78.0, 2000), reading(pot, 79.0, 1000)])
    time.sleep(random.uniform(0.25, 0.35))  # what went before is over, at any phase of the watch
    store.append([reading(pot, 80.5)])
    begun_s = time.perf_counter()
    took_ms = (hook.when(f"{pot}: passing 80 degC") - begun_s) * 1000.0
    post(port, f"/v1/batches/{batch}/events", {"kind": "end"})
    return took_ms


def bare_ms(hook: Hook, number: int) -> float:
    """Post such a body without Curdwright, and return how long it took to come [ms]."""
    title = f"bare {number}"
    text = f"{title}, rising"
    body = {"version": "1.0", "title": title, "message": text, "attachments": [], "type": "info"}
    begun_s = time.perf_counter()
    line = http.client.HTTPConnection("127.0.0.1", hook.port, timeout=DEADLINE_S)
    line.request("POST", "/x", json.dumps(body), {"Content-Type": "application/json"})
    came_s = hook.when(title)
    line.getresponse().read()
    line.close()
    return (came_s - begun_s) * 1000.0


def at(share: float, taken_ms: Sequence[float]) -> float:
    """Return a percentile by nearest rank [ms]."""
    ordered = sorted(taken_ms)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def main() -> int:
    """Measure, print, and return 1 where the goal is missed."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 210
    random.seed(SEED)
    hook = Hook()
    notices_ms, bares_ms = [], []
    with tempfile.TemporaryDirectory() as folder:
        data_dir = Path(folder) / "kitchen"
        with served(data_dir) as port:
            address = f"json://127.0.0.1:{hook.port}/x"
            post(port, "/v1/notices/routes", {"name": "hook", "address": address})
            store = SqliteStore(data_dir / "readings.sqlite3")
            for number in range(count + WARM_UP):
                took_ms = crossing_ms(port, store, hook, number)
                posted_ms = bare_ms(hook, number)
                if number >= WARM_UP:
                    notices_ms.append(took_ms)
                    bares_ms.append(posted_ms)
            store.close()
    hook.close()
    print(f"{count} crossings, from the commit of the reading to the notice at the web hook [ms]")
    for name, taken in (("Curdwright", notices_ms), ("bare POST alone", bares_ms)):
        shown = "  ".join(f"p{round(s * 100)} {at(s, taken):7.2f}" for s in (0.5, 0.9, 0.99))
        print(f"  {name:16} {shown}  longest {max(taken):7.2f}")
    met = at(0.99, notices_ms) <= GOAL_MS
    print(f"  goal p99 {GOAL_MS:g} ms: {'met' if met else 'MISSED'}")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
