# SPDX-License-Identifier: MIT
"""Starts the demo: a data folder, a broker if there is one, and the program's own processes."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from api.kitchen import prepare_folder
from api.running import Part, own_command, run_parts
from api.serving import bind

Say = Callable[[str], None]
_BROKERS = ("mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto")
LINES = ("north-scale", "south-scale", "small-probe", "small-scale")


def run_demo(data: Path | None, *, host: str, port: int, with_broker: bool = True, say: Say) -> int:
    """Run the simulated kitchen until told to stop.

    Args:
        data: Where to keep it; None for a folder that is removed at the end.
        host: The address of the pages.
        port: Their port; 0 for any that is free.
        with_broker: Use MQTT too, where Mosquitto is on the machine.
        say: Prints one line.

    Returns:
        The exit code.
    """
    with bind(host, port) as listener:  # a port in use is told before anything is made
        port = int(listener.getsockname()[1])
    with _folder(data) as folder, _broker(folder, wanted=with_broker) as broker_port:
        lines = folder / "lines"
        lines.mkdir(exist_ok=True)
        (folder / "curdwright.toml").write_text(_config(lines, broker_port), encoding="utf-8")
        say("This is a simulated kitchen; pots, batches and prices are invented.")
        doors = "pseudo-terminals and HTTP" + (" and a broker" if broker_port else "")
        say(f"Its instruments speak over {doors}. Data: {folder}")
        where = ["--data", str(folder)]
        url = f"http://{'127.0.0.1' if host in ('0.0.0.0', '::') else host}:{port}"
        kitchen = [url, str(broker_port or 0)]
        parts = [
            Part("serve", own_command("serve", *where, "--host", host, "--port", str(port))),
            Part("collect", own_command("collect", *where, "--with-watch")),
            Part("kitchen", [*own_command(), "simulate", *where, *kitchen]),
        ]
        return run_parts(parts, say)


@contextmanager
def _folder(data: Path | None) -> Iterator[Path]:
    if data is not None:
        prepare_folder(data)
        yield data.resolve()
        return
    made = Path(tempfile.mkdtemp(prefix="curdwright-demo-"))
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


@contextmanager
def _broker(folder: Path, *, wanted: bool) -> Iterator[int | None]:
    """Start a broker of the demo's own where Mosquitto is on the machine."""
    program = next((found for name in _BROKERS if (found := shutil.which(name))), None)
    if program is None or not wanted:
        yield None
        return
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    config = folder / "broker.conf"
    lines = [
        f"listener {port} 127.0.0.1",
        "allow_anonymous true",
        "max_queued_messages 0",
        "log_dest none",
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        lines.append("user root")
    config.write_text("\n".join(lines) + "\n", encoding="utf-8")
    process = subprocess.Popen(
        [program, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield port if _answers(port, process) else None
    finally:
        process.terminate()
        process.wait()


def _answers(port: int, process: subprocess.Popen[bytes]) -> bool:
    deadline = time.monotonic() + 5.0
    while process.poll() is None and time.monotonic() < deadline:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.5):
            return True
        time.sleep(0.05)
    return False


def _config(lines: Path, broker_port: int | None) -> str:
    text = '[kitchen]\nname = "Fern Lane"\nzone = "UTC"\naltitude_m = 180\n'
    text += "room_temperature_degc = 21.5\n"
    for name in LINES:
        pot, what = name.split("-")
        text += f'\n[[serial]]\nport = "{lines / name}"\n'
        if what == "scale":
            text += f'series = "{pot}/under-pot"\nunit = "kg"\n'
            text += 'pattern = "status-mode-weight-unit"\n'
        else:
            text += f'series = "{pot}/milk"\nunit = "Cel"\npattern = "number-unit"\n'
    if broker_port:
        text += f'\n[[mqtt]]\nhost = "127.0.0.1"\nport = {broker_port}\n'
        text += 'client_id = "curdwright-demo"\n'
        text += '\n[[mqtt.topics]]\nfilter = "fern-lane/#"\npayload = "senml"\n'
    return text
