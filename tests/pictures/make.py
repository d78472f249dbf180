# SPDX-License-Identifier: MIT
"""Makes the pictures that the README shows, from the running demo: `python tests/pictures/make.py`.

With names, such as `compare instruments`, it makes only those. Needs Chromium and what the tests
need.
"""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import sync_playwright

TARGET = Path(__file__).resolve().parents[2] / "dashboards" / "docs"
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"


def main() -> None:
    """Start the demo, wait until it has told its history, and take the pictures."""
    TARGET.mkdir(exist_ok=True)
    with tempfile.TemporaryFile("w+") as log:
        command = [sys.executable, "-P", "-m", "api.cli", "demo", "--port", "0"]
        demo = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            address = _address(log)
            _take(address, *_told(address), sys.argv[1:])
        finally:
            demo.send_signal(signal.SIGTERM)
            demo.wait(30)


def _address(log: object) -> str:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        log.seek(0)  # type: ignore[attr-defined]
        found = re.search(r"Curdwright is at (http://\S+)/", log.read())  # type: ignore[attr-defined]
        if found:
            return found.group(1)
        time.sleep(0.2)
    raise SystemExit("The demo did not say where it is.")


def _told(address: str) -> tuple[str, str]:
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline:
        try:
            with urllib.request.urlopen(f"{address}/v1/batches?state=closed") as answer:
                batches = json.load(answer)["batches"]
        except OSError:
            batches = []
        if len(batches) == 2:
            by_pot = {str(batch["pot"]): str(batch["id"]) for batch in batches}
            return by_pot["South"], by_pot["Small"]
        time.sleep(0.5)
    raise SystemExit("The demo did not tell its history.")


def _take(address: str, past: str, other: str, wanted: list[str]) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        for name, path, size in (
            ("stove", "/", (1280, 800)),
            ("stove-phone", "/", (390, 844)),
            ("record", f"/batches/{past}", (1280, 1600)),
            ("compare", f"/compare?batch={past}&batch={other}", (1280, 1500)),
            ("instruments", "/instruments", (1280, 1000)),
        ):
            if wanted and name not in wanted:
                continue
            page = browser.new_page(viewport={"width": size[0], "height": size[1]})
            page.goto(address + path)
            page.wait_for_timeout(4000)  # a few readings of the live curve
            page.screenshot(path=TARGET / f"{name}.png")
            page.close()
        browser.close()


if __name__ == "__main__":
    main()
