"""A real server on a data folder of its own, and a real browser that fails on any complaint."""

from __future__ import annotations

import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Page,
    ViewportSize,
    expect,
    sync_playwright,
)

from dashboards.assets import has_uplot

DEADLINE_S = 30.0
CHROMIUM = "/usr/bin/chromium"
PHONE: ViewportSize = {"width": 390, "height": 844}
TABLET: ViewportSize = {"width": 820, "height": 1180}
expect.set_options(timeout=DEADLINE_S * 1000)
_ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]


class Server:
    """The program's own server, started as a user starts it, on a free loopback port."""

    def __init__(self, data_dir: Path) -> None:
        """Start it."""
        data_dir.mkdir()
        (data_dir / "curdwright.toml").write_text(
            '[kitchen]\nname = "Fern Lane"\nzone = "Europe/Vienna"\naltitude_m = 180\n',
            encoding="utf-8",
        )
        self.data_dir = data_dir
        self.url = ""
        self._port = "0"
        self._process: subprocess.Popen[str] | None = None
        self.start()
        self.http = httpx2.Client(base_url=self.url, timeout=DEADLINE_S)

    def start(self) -> None:
        """Start it, on the same port as before, and wait until it says where it is."""
        command = [sys.executable, "-P", "-m", "api.cli", "serve"]
        self._process = subprocess.Popen(
            [*command, "--data", str(self.data_dir), "--port", self._port],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.url = self._said(r"Curdwright is at (http://\S+?)/\s")
        self._port = self.url.rpartition(":")[2]

    def kill(self) -> None:
        """End it with signal 9."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """End it in good order."""
        self.http.close()
        self._end(signal.SIGTERM)

    def token(self) -> str:
        """Return the token that pairs other machines."""
        return (self.data_dir / "token").read_text(encoding="ascii").strip()

    def say(self, series: str, unit: str, *values: float, ago_s: float = 0.0) -> None:
        """Post readings a second apart, the last of them `ago_s` ago."""
        last_s = time.time() - ago_s
        pack = [
            {"n": series, "u": unit, "t": last_s - (len(values) - 1 - i), "v": value}
            for i, value in enumerate(values)
        ]
        answer = self.http.post(
            "/v1/readings", json=pack, headers={"Content-Type": "application/senml+json"}
        )
        assert answer.status_code == 200, answer.text

    def post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        """Post a record."""
        answer = self.http.post(path, json=body)
        assert answer.status_code in (200, 201), answer.text
        found: dict[str, Any] = answer.json()
        return found

    def get(self, path: str) -> dict[str, Any]:
        """Read something back."""
        answer = self.http.get(path)
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found

    def _said(self, pattern: str) -> str:
        assert self._process is not None and self._process.stdout is not None
        end = time.monotonic() + DEADLINE_S
        heard = ""
        while time.monotonic() < end:
            if select.select([self._process.stdout], [], [], 0.2)[0]:
                heard += self._process.stdout.readline()
            if found := re.search(pattern, heard):
                return found[1]
            if self._process.poll() is not None:
                break
        self._end(signal.SIGKILL)
        pytest.fail(f"the server did not say where it is:\n{heard}")

    def _end(self, number: signal.Signals) -> None:
        if self._process is None:
            return
        self._process.send_signal(number)
        self._process.wait(DEADLINE_S)
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._process = None


StartServer = Callable[[], Server]


@pytest.fixture(scope="module")
def start_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[StartServer]:
    """Start servers on empty data folders; they end with the file of tests."""
    running: list[Server] = []

    def start() -> Server:
        running.append(Server(tmp_path_factory.mktemp("pages") / "kitchen"))
        return running[-1]

    yield start
    for one in running:
        one.stop()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """A server on an empty data folder, for one test."""
    running = Server(tmp_path / "kitchen")
    yield running
    running.stop()


# The browser's loop occupies the thread: it lives no longer than one file of tests.
@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium as the machine has it."""
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=_ARGUMENTS)
        yield opened
        opened.close()


class Screen:
    """One device in the kitchen: a browser of its own size, whose complaints are kept."""

    def __init__(self, browser: Browser, url: str, size: ViewportSize, **more: Any) -> None:
        """Open it."""
        self.context: BrowserContext = browser.new_context(
            viewport=size, has_touch=True, base_url=url, timezone_id="Europe/Vienna", **more
        )
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(DEADLINE_S * 1000)
        self.complaints: list[str] = []
        self.outage_expected = False
        self.refusal_expected = 0
        self._host = url.removeprefix("http://")
        self.page.on("console", lambda said: self._console(said.type, said.text))
        self.page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        self.page.on("request", lambda request: self._request(request.url))

    def check(self) -> None:
        """Fail if the page complained, or asked another host for anything."""
        assert self.complaints == []

    def _console(self, kind: str, text: str) -> None:
        lost = "Failed to load resource: net::ERR_" in text and self.outage_expected
        refused = self.refusal_expected and f"status of {self.refusal_expected}" in text
        if kind in ("error", "warning") and not (lost or refused):
            self.complaints.append(f"console {kind}: {text}")

    def _request(self, url: str) -> None:
        if not url.startswith((f"http://{self._host}/", "data:", "blob:")):
            self.complaints.append(f"asked another host: {url}")


OpenScreen = Callable[..., Screen]


@pytest.fixture
def drawn_curve() -> str:
    """Where a curve is seen: drawn by the library that the build brought, else by the server."""
    return ".uplot canvas" if has_uplot() else ".picture svg.curve"


@pytest.fixture
def screen(browser: Browser, server: Server) -> Iterator[OpenScreen]:
    """Open devices: `screen(TABLET)`; each is checked at the end."""
    opened: list[Screen] = []

    def open_one(size: ViewportSize = TABLET, **more: Any) -> Screen:
        opened.append(Screen(browser, server.url, size, **more))
        return opened[-1]

    yield open_one
    for one in opened:
        one.context.close()
    for one in opened:
        one.check()


@pytest.fixture(params=["phone", "tablet"])
def device(request: pytest.FixtureRequest, screen: OpenScreen) -> Screen:
    """A phone, then a tablet."""
    return screen(PHONE if request.param == "phone" else TABLET)


@pytest.fixture
def recipe() -> dict[str, Any]:
    """A recipe with a boil hold, a falling target and a covered hold."""
    return {
        "name": "Soybean, gypsum",
        "ingredients": [{"name": "soybean"}],
        "steps": [
            {"kind": "heat"},
            {"kind": "boil", "hold": {
                "name": "boil", "low": {"value": 96, "unit": "degC"},
                "least": {"value": 10, "unit": "s"}, "ends": "addition"}},
            {"kind": "addition", "note": "one slow stream",
             "target": {"value": 80, "unit": "degC", "approach": "falling"}},
            {"kind": "cover", "hold": {
                "name": "covered hold", "low": {"value": 65, "unit": "degC"},
                "least": {"value": 13, "unit": "min"}, "starts": "cover", "ends": "ladle"}},
            {"kind": "ladle"},
            {"kind": "press"},
        ],
    }  # fmt: skip
