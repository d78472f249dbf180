# SPDX-License-Identifier: MIT
"""How soon a page shows its curve on a slow tablet, and whether an hour of live readings stays.

    python tests/bench/page_speed.py [readings a page takes live]

A served kitchen with a batch of two hours at one reading a second, opened in Chromium with its
processor slowed four times. The clock runs from the click to the first paint with the curve in it;
beside it stands a bare page of the same size from the same machine, opened the same way. Then the
Stove takes as many readings as an hour at 10 Hz brings, as fast as they can be posted, and its
memory is asked after each sixth of them, rubbish collected first. The goals are 1 s and no growth.
"""

from __future__ import annotations

import http.server
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import CDPSession, Page, sync_playwright

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
SLOWED = 4
GOAL_MS, GROWTH_MB = 1000.0, 2.0
TURNS = 5
PARTS = 6
DEADLINE_S = 60.0
SERIES = "north/milk"
# Frames are drawn only once the styles are there; the one after the curve was found has it painted.
FIRST_CURVE = """
  window.firstCurve = new Promise((done) => {
    const look = () => {
      if (!document.querySelector("svg path, svg polyline, canvas")) requestAnimationFrame(look);
      else requestAnimationFrame(() => done(performance.now()));
    };
    requestAnimationFrame(look);
  });
"""


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Serve a kitchen, and yield its address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    command = [sys.executable, "-P", "-m", "api.cli", "serve", "--data", str(folder)]
    with (
        (folder.parent / "serve.log").open("wb") as log,
        subprocess.Popen([*command, "--port", str(port)], stdout=log, stderr=log) as process,
    ):
        try:
            end_s = time.monotonic() + DEADLINE_S
            while time.monotonic() < end_s:
                try:
                    urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=1).close()
                    break
                except OSError:
                    time.sleep(0.1)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()


def post(url: str, body: Any, kind: str = "application/json") -> Any:
    """Post JSON."""
    request = urllib.request.Request(url, json.dumps(body).encode(), {"Content-Type": kind})
    with urllib.request.urlopen(request, timeout=DEADLINE_S) as answer:
        return json.load(answer)


def say(url: str, times_s: Sequence[float], values: Sequence[float]) -> None:
    """Post readings of the milk."""
    pack = [
        {"n": SERIES, "u": "Cel", "t": at_s, "v": value}
        for at_s, value in zip(times_s, values, strict=True)
    ]
    post(f"{url}/v1/readings", pack, "application/senml+json")


def begin(url: str) -> str:
    """Post the first two of three hours of a batch on the stove; return its id."""
    now_s = time.time()
    target = {"value": 80, "unit": "degC"}
    body = {"name": "North", "pot": "North", "thermometer": SERIES, "target": target}
    started = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(now_s - 10_800))
    batch = post(f"{url}/v1/batches", body | {"started_at": started})["id"]
    for hour in range(2):
        ages = range(10_800 - 3600 * hour, 7200 - 3600 * hour, -1)
        say(
            url,
            [now_s - age for age in ages],
            [round(20.0 + 0.009 * (10_800 - age), 2) for age in ages],
        )
    post(f"{url}/v1/batches/{batch}/events", {"kind": "heat"})
    return str(batch)


@contextmanager
def bare(size: int) -> Iterator[str]:
    """Serve a bare page with one curve, as large as the other."""
    text = b"<!doctype html><title>bare</title><main><svg><path d='M0 0L9 9'/></svg>"
    text += b"<p>" + b"x " * (max(size - len(text), 0) // 2)

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(text)

        def log_message(self, *_: object) -> None: ...

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()


def first_curve_ms(page: Page, url: str) -> float:
    """Open a page, and return how long its first curve took [ms]."""
    page.goto("about:blank")
    page.goto(url, wait_until="commit")
    return float(page.evaluate("window.firstCurve"))


def heap_mb(tools: CDPSession) -> tuple[float, int]:
    """Return memory of the page's scripts [MB] and how many nodes it has."""
    tools.send("HeapProfiler.collectGarbage")
    told = {one["name"]: one["value"] for one in tools.send("Performance.getMetrics")["metrics"]}
    return told["JSHeapUsedSize"] / 1e6, int(told["Nodes"])


def live(page: Page, tools: CDPSession, url: str, readings: int) -> list[tuple[float, int]]:
    """Let the Stove take readings, and return its memory before and after each part."""
    page.goto(url)
    page.wait_for_selector("#connection[data-state=live]", timeout=DEADLINE_S * 1000)
    taken = []
    at_s = time.time() - 3600.0
    for part in range(PARTS + 1):
        for _ in range(readings // PARTS // 50 if part else 0):
            times_s = [at_s + n / 10.0 for n in range(50)]
            say(url, times_s, [round(60 + (n % 40) / 10, 2) for n in range(50)])
            at_s += 5.0
            page.wait_for_timeout(20)
        page.wait_for_timeout(1500)
        taken.append(heap_mb(tools))
    return taken


def main() -> int:
    """Measure, print, and return 1 where a goal is missed."""
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 36_000
    missed = False
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        data = Path(folder) / "kitchen"
        data.mkdir()
        options = ["--no-sandbox", "--disable-gpu"]
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=options)
        page = browser.new_page(viewport={"width": 820, "height": 1180})
        page.add_init_script(FIRST_CURVE)
        tools = page.context.new_cdp_session(page)
        tools.send("Performance.enable")
        with served(data) as url:
            batch = begin(url)
            paths = {
                "Stove": "/",
                "Record": f"/batches/{batch}",
                "Compare": f"/compare?batch={batch}",
            }
            print(f"first curve at a processor slowed {SLOWED} times, median of {TURNS} [ms]")
            for name, path in paths.items():
                with urllib.request.urlopen(url + path, timeout=DEADLINE_S) as answer:
                    size = len(answer.read())
                tools.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
                cold = first_curve_ms(page, url + path)
                took = statistics.median(first_curve_ms(page, url + path) for _ in range(TURNS))
                with bare(size) as bare_url:
                    first_curve_ms(page, bare_url)
                    least = statistics.median(first_curve_ms(page, bare_url) for _ in range(TURNS))
                tools.send("Emulation.setCPUThrottlingRate", {"rate": 1})
                met = took <= GOAL_MS
                missed |= not met
                beside = f"{took / least:.1f} of a bare page of {size / 1000:.0f} kB ({least:.0f})"
                goal = f"goal {GOAL_MS:.0f}: {'met' if met else 'MISSED'}"
                print(f"  {name:8} {took:7.0f}, {beside}; the first of all {cold:.0f}; {goal}")
            taken = live(page, tools, url, readings)
        browser.close()
    print(f"the Stove's memory while it takes {readings} readings live [MB, nodes]")
    print("  " + "  ".join(f"{mb:.1f}, {nodes}" for mb, nodes in taken))
    grown = statistics.mean(mb for mb, _ in taken[-2:]) - taken[1][0]
    met = grown <= GROWTH_MB
    print(f"  grown by {grown:.1f} MB; goal {GROWTH_MB:g}: {'met' if met else 'MISSED'}")
    return int(missed or not met)


if __name__ == "__main__":
    sys.exit(main())
