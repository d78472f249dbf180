# SPDX-License-Identifier: MIT
"""Starts the web server on a port of its own, says where it is, and ends it cleanly."""

from __future__ import annotations

import errno
import ipaddress
import logging
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import click
import uvicorn
from fastapi import FastAPI

from api.access import lan_addresses
from api.app import create_app
from api.kitchen import open_kitchen
from collector.errors import CurdwrightError

Say = Callable[[str], None]
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class _Server(uvicorn.Server):
    """Tells open streams to end as soon as the process is asked to."""

    def __init__(self, config: uvicorn.Config, app: FastAPI) -> None:
        super().__init__(config)
        self._app = app

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """End on a signal with exit code 0: to be told to stop is no failure."""
        before = {number: signal.signal(number, self.handle_exit) for number in _SIGNALS}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Let open streams end, then the server."""
        self._app.state.broadcast.stopping.set()
        super().handle_exit(sig, frame)


def bind(host: str, port: int) -> socket.socket:
    """Return a listening socket.

    Args:
        host: An address of this machine.
        port: 0 for any that is free.

    Raises:
        CurdwrightError: The port is in use, or the address isn't one of this machine's.
    """
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
    except socket.gaierror as error:
        raise CurdwrightError(
            f"The address {host!r} can't be listened on ({error.strerror}).",
            do="Give an address of this machine with --host.",
        ) from error
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        if error.errno == errno.EADDRINUSE:
            raise CurdwrightError(
                f"Port {port} is in use.",
                where=host,
                do="Stop the program that uses it, or give another with --port.",
            ) from error
        raise CurdwrightError(
            f"Port {port} can't be listened on ({error.strerror}).",
            where=host,
            do="Give an address of this machine with --host and a port above 1023 with --port.",
        ) from error
    return listener


def serve(
    data_dir: Path, *, host: str, port: int, config_path: Path | None = None, say: Say = click.echo
) -> int:
    """Serve until told to stop.

    Args:
        data_dir: Where all that is kept lies.
        host: The address to listen on.
        port: The port; 0 for any that is free.
        config_path: Another configuration file than the folder's own.
        say: Prints one line.

    Returns:
        The exit code.
    """
    listener = bind(host, port)
    try:
        kitchen = open_kitchen(data_dir, config_path=config_path)
        for warning in kitchen.config.warnings:
            say(f"warning: {warning}")
        app = create_app(kitchen, host=host)
        config = uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            lifespan="on",
            timeout_graceful_shutdown=3,
            server_header=False,
            forwarded_allow_ips="",
            proxy_headers=False,
        )
        logging.getLogger("uvicorn").setLevel(logging.WARNING)
        announce(host, listener.getsockname()[1], app.state.token, say)
        _Server(config, app).run(sockets=[listener])
    finally:
        listener.close()
    return 0


def announce(host: str, port: int, token: str, say: Say) -> None:
    """Say where the pages are; beyond loopback, also how to pair a phone.

    Args:
        host: The address that is listened on.
        port: The port.
        token: The data folder's token.
        say: Prints one line.
    """
    shown = "127.0.0.1" if host in ("0.0.0.0", "::") else host
    say(f"Curdwright is at http://{_in_url(shown)}:{port}/")
    if _is_loopback(host):
        return
    say("Others need the token. Open one of these on a phone or tablet to pair it:")
    addresses = lan_addresses() if host in ("0.0.0.0", "::") else [host]
    for address in addresses:
        say(f"  http://{_in_url(address)}:{port}/pair#{token}")
    if addresses:
        import segno

        qr = segno.make(f"http://{_in_url(addresses[0])}:{port}/pair#{token}", micro=False)
        lines = ["".join("██" if dark else "  " for dark in row) for row in qr.matrix]
        for line in ["", *lines, ""]:
            say("  " + line)
    say("Anyone on this network can read plain HTTP: use it only on a network that you trust.")


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _in_url(address: str) -> str:
    return f"[{address}]" if ":" in address else address
