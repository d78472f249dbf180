# SPDX-License-Identifier: MIT
"""How a wired sounder or lamp is told something: over a serial port, or at a broker.

Knows neither alarms nor the database. Blocks: call it in a thread of its own.
"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Protocol

from api.watch.message import Outcome
from api.watch.mqtt_route import BrokerAddress, publish
from collector.config_notices import Sounder
from collector.errors import CurdwrightError
from collector.instruments.port_fault import fault_of
from collector.instruments.port_reader import LineSettings, open_port

if TYPE_CHECKING:
    import serial


class Line(Protocol):
    """What a sounder hangs on."""

    @property
    def where(self) -> str:
        """Where it is, without a secret."""
        ...

    def tell(self, data: bytes) -> Outcome:
        """Tell it something; any fault is an outcome."""
        ...

    def close(self) -> None:
        """Let go of it."""
        ...


def line_of(sounder: Sounder) -> Line:
    """Return the line of a configured sounder; nothing is opened yet."""
    return PortLine(sounder) if sounder.port is not None else BrokerLine(sounder)


class PortLine:
    """A serial port, held open: opening one resets many a board."""

    def __init__(self, sounder: Sounder) -> None:
        assert sounder.port is not None
        self._settings = LineSettings(sounder.port, baud=sounder.baud, signals=sounder.dtr)
        self._port: serial.Serial | None = None

    @property
    def where(self) -> str:
        """The port."""
        return f"serial port {self._settings.port}"

    def tell(self, data: bytes) -> Outcome:
        """Write the bytes and wait until they have left; a lost port is opened anew next time."""
        try:
            if self._port is None:
                self._port = open_port(self._settings)
            self._port.write(data)
            self._port.flush()
        except Exception as error:  # a converter that is pulled raises whatever its driver likes
            self.close()
            fault: CurdwrightError = fault_of(error, self._settings.port)
            return Outcome(False, fault.what)
        return Outcome(True, f"{len(data)} bytes written")

    def close(self) -> None:
        """Close the port, if it is open."""
        port, self._port = self._port, None
        if port is not None:
            with contextlib.suppress(Exception):
                port.close()


class BrokerLine:
    """A topic at a broker, retained: a lamp that comes later finds its state there."""

    def __init__(self, sounder: Sounder) -> None:
        assert sounder.host is not None and sounder.topic is not None
        password = sounder.password.get_secret_value() if sounder.password else None
        self._broker = BrokerAddress(
            sounder.host,
            sounder.broker_port,
            sounder.topic,
            retain=True,
            username=sounder.username,
            password=password,
        )

    @property
    def where(self) -> str:
        """Topic and broker."""
        return f"topic {self._broker.topic} at {self._broker.host}:{self._broker.port}"

    def tell(self, data: bytes) -> Outcome:
        """Publish the bytes, and wait for the broker's acknowledgement."""
        return publish(self._broker, data)

    def close(self) -> None:
        """Nothing is held open."""
