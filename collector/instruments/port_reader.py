# SPDX-License-Identifier: MIT
"""The thread that holds one serial port open: reads, polls, closes, waits, opens again.

Imports pyserial and the ground; knows nothing of lines or readings.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

import serial

from collector.instruments.back_off import BackOff
from collector.instruments.protocol import Clock
from collector.log import say

_READ_BYTES = 4096
_READ_TIMEOUT_S = 1.0
_WRITE_TIMEOUT_S = 2.0
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class LineSettings:
    """How a port is to be opened, and what is to be sent.

    Attributes:
        port: Its path; a name under /dev/serial/by-id stays the same after replugging.
        baud: [bit/s].
        bytesize: Data bits, 5 to 8.
        parity: "N", "E", "O", "M" or "S".
        stopbits: 1, 1.5 or 2.
        signals: Whether DTR and RTS are raised. Raising them resets many microcontroller boards;
            some converters take their power from them.
        poll: What is sent to ask for a reading; None if the instrument speaks by itself.
        poll_interval_s: How often [s].
        silence_s: After so long without a byte the line counts as silent [s].
    """

    port: str
    baud: int = 9600
    bytesize: int = 8
    parity: str = "N"
    stopbits: float = 1
    signals: bool = False
    poll: bytes | None = None
    poll_interval_s: float = 1.0
    silence_s: float = 1.0


@dataclass(frozen=True, slots=True)
class Opened:
    """The port was opened at `steady_s`."""

    steady_s: float


@dataclass(frozen=True, slots=True)
class Heard:
    """Bytes came.

    Attributes:
        data: At least one.
        arrival_ms: When [ms since 1970 UTC].
        steady_s: The same on the monotonic clock [s].
    """

    data: bytes
    arrival_ms: int
    steady_s: float


@dataclass(frozen=True, slots=True)
class Quiet:
    """Nothing has come for the time of silence, and nothing waits in the driver.

    Only a read that waited in vain shows that. Times between bytes don't: while the program was
    held up or the machine slept, the driver went on collecting.
    """


@dataclass(frozen=True, slots=True)
class Refused:
    """The port could not be opened."""

    error: Exception


@dataclass(frozen=True, slots=True)
class Lost:
    """The port was open and is lost; it is closed already."""

    error: Exception


PortEvent = Opened | Heard | Quiet | Refused | Lost


def open_port(settings: LineSettings) -> serial.Serial:
    """Open a port that nobody else holds.

    Raises:
        OSError: It isn't there, is in use, or may not be opened.
    """
    port = serial.Serial()
    port.port = settings.port
    port.baudrate = settings.baud
    port.bytesize = settings.bytesize
    port.parity = settings.parity
    port.stopbits = settings.stopbits
    port.timeout = min(settings.silence_s, _READ_TIMEOUT_S)
    port.write_timeout = _WRITE_TIMEOUT_S
    port.exclusive = True  # else a second reader steals part of the bytes
    port.dtr = settings.signals
    port.rts = settings.signals
    port.open()
    return port


class PortReader:
    """Keeps one port open in a thread of its own and tells what happens there.

    A thread of the event loop's own pool would not do: they are few, and as many silent ports
    would leave none for anybody else.
    """

    def __init__(
        self,
        settings: LineSettings,
        tell: Callable[[PortEvent], None],
        clock: Clock,
        *,
        back_off: BackOff | None = None,
    ) -> None:
        """Be ready to start.

        Args:
            settings: How to open it.
            tell: Called in the thread for each event; must not block.
            clock: Stamps what comes.
            back_off: How long to wait before opening again.
        """
        self._settings = settings
        self._tell = tell
        self._clock = clock
        self._back_off = back_off or BackOff()
        self._stopping = threading.Event()
        self._lock = threading.Lock()
        self._port: serial.Serial | None = None
        self._thread = threading.Thread(target=self._run, name=settings.port, daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """Let the thread end; a blocked read is released. Returns at once."""
        self._stopping.set()
        with self._lock:  # so that the port isn't closed in between
            if self._port is not None:
                with suppress(Exception):
                    self._port.cancel_read()
                    self._port.cancel_write()

    def join(self, timeout_s: float) -> bool:
        """Wait for the thread's end, and say whether it ended."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stopping.is_set():
            # An unplugged port raises OSError, termios.error (which is no OSError) or, in between,
            # TypeError; settings that the driver doesn't know raise ValueError. All are survived.
            try:
                port = open_port(self._settings)
            except Exception as error:
                self._tell(Refused(error))
            else:
                self._hold(port)
            self._stopping.wait(self._back_off.next_s())

    def _hold(self, port: serial.Serial) -> None:
        with self._lock:
            self._port = port
        self._tell(Opened(time.monotonic()))
        lost: Exception | None = None
        try:
            self._read(port)
        except Exception as error:
            lost = error
        with self._lock:  # closed before anything else, so that the device can come back
            self._port = None
            try:
                port.close()
            except Exception as error:
                say(_log, "a port could not be closed", port=port.port, error=str(error))
        if lost is not None:
            self._tell(Lost(lost))

    def _read(self, port: serial.Serial) -> None:
        next_poll_s = last_s = time.monotonic()
        quiet = False
        while not self._stopping.is_set():
            if self._settings.poll is not None:
                next_poll_s = self._poll(port, next_poll_s)
            first = port.read(1)
            steady_s = time.monotonic()
            if first:
                arrival_ms = self._clock.now_ms()
                data = first + port.read(min(port.in_waiting, _READ_BYTES))
                self._back_off.reset()
                self._tell(Heard(data, arrival_ms, steady_s))
                last_s, quiet = steady_s, False
            elif not quiet and steady_s - last_s >= self._settings.silence_s:
                self._tell(Quiet())
                quiet = True

    def _poll(self, port: serial.Serial, due_s: float) -> float:
        """Ask if it is time to; return when it is time again, and let the read wait no longer."""
        now_s = time.monotonic()
        if now_s >= due_s:
            assert self._settings.poll is not None
            port.write(self._settings.poll)
            due_s += self._settings.poll_interval_s
            if due_s <= now_s:  # polls that were missed are not made up for
                due_s = now_s + self._settings.poll_interval_s
        port.timeout = min(due_s - now_s, self._settings.silence_s, _READ_TIMEOUT_S)
        return due_s
