# SPDX-License-Identifier: MIT
"""A virtual scale and a virtual probe on pseudo-terminals, as if on a serial port.

Must not import `api`. POSIX only. The kernel may name the terminal anew at every plugging in, as
it does with serial adapters; the path given here stays the same.
"""

from __future__ import annotations

import math
import os
import threading
import tty
from contextlib import suppress
from pathlib import Path

from collector.errors import InstrumentLostError
from collector.instruments.simulated.channels import Said

_LONGEST_REQUEST = 256


def decimals_of(step: float) -> int:
    """Return how many decimals an instrument with such a display step prints.

    Example:
        >>> decimals_of(0.0625), decimals_of(0.002), decimals_of(0.5), decimals_of(0.0)
        (4, 3, 1, 4)
    """
    if step <= 0.0:
        return 4
    for decimals in range(7):
        if math.isclose(step * 10**decimals, round(step * 10**decimals), rel_tol=1e-9):
            return decimals
    return 7


class PtyLine:
    """One end of a pseudo-terminal, the other end behind a path that stays.

    What nobody reads is lost, line by line, as on a serial port without a listener.
    """

    def __init__(self, path: Path) -> None:
        """Plug it in.

        Args:
            path: Where the other end is found; its folder must be there.

        Raises:
            InstrumentLostError: The path can't be made.
        """
        self.path = path
        self._ends: tuple[int, int] | None = None
        self._left = b""
        self._heard = b""
        self._lock = threading.Lock()
        self.plug_in()

    def plug_in(self) -> None:
        """Make the terminal and let the path lead to it."""
        with self._lock:
            if self._ends is not None:
                return
            master, slave = os.openpty()
            tty.setraw(slave)
            os.set_blocking(master, False)
            fresh = self.path.with_name(f".{self.path.name}.new")
            try:
                fresh.unlink(missing_ok=True)
                fresh.symlink_to(os.ttyname(slave))
                fresh.replace(self.path)
            except OSError as error:
                os.close(master)
                os.close(slave)
                raise InstrumentLostError(
                    f"The virtual port can't be made: {error.strerror}.",
                    where=str(self.path),
                    do="Give a path in a folder that exists and can be written.",
                ) from error
            self._ends, self._left, self._heard = (master, slave), b"", b""

    def pull_out(self) -> None:
        """Take the terminal and the path away."""
        with self._lock:
            if self._ends is None:
                return
            for end in self._ends:
                os.close(end)
            self._ends = None
            self.path.unlink(missing_ok=True)

    def write_line(self, line: bytes) -> bool:
        """Send a whole line, or nothing of it if nobody has read for long.

        Args:
            line: With its terminator.

        Returns:
            False if it was lost.
        """
        with self._lock:
            if self._ends is None or not self._flushed():
                return False
            sent = self._write(line)
            if sent:
                self._left = line[sent:]
            return sent > 0

    def _flushed(self) -> bool:
        if self._left:
            self._left = self._left[self._write(self._left) :]
        return not self._left

    def _write(self, data: bytes) -> int:
        if self._ends is None:
            return 0
        with suppress(BlockingIOError):
            return os.write(self._ends[0], data)
        return 0

    def requests(self) -> list[bytes]:
        """Return the lines that the other end has sent since the last call, without line ends."""
        with self._lock:
            if self._ends is None:
                return []
            with suppress(BlockingIOError):
                self._heard += os.read(self._ends[0], 4096)
            *whole, rest = self._heard.replace(b"\r", b"\n").split(b"\n")
            self._heard = rest[-_LONGEST_REQUEST:]
            return [line for line in whole if line]


class PtyScale:
    """A virtual scale with a serial line.

    Continuous it sends `ST,GS,+  12.340kg` at each of its readings; polled it answers every line
    `S` with `S S     12.340 kg`. Stable or not, gross or net, overload: as the scale says it.
    """

    def __init__(self, path: Path, *, polled: bool = False, net: bool = False) -> None:
        """Plug it in.

        Args:
            path: Where its port is found.
            polled: It speaks only when asked.
            net: It says that a tare was taken off.
        """
        self.line = PtyLine(path)
        self.lost = 0
        self._polled = polled
        self._mode = "NT" if net else "GS"
        self._last: Said | None = None

    def say(self, said: Said) -> None:
        """Send a reading, or keep it for the next question."""
        self._last = said
        if not self._polled:
            self.lost += not self.line.write_line(scale_line(said, self._mode))

    def pump(self) -> None:
        """Answer what was asked."""
        for request in self.line.requests():
            if self._polled and request == b"S":
                self.lost += not self.line.write_line(scale_answer(self._last))

    def close(self) -> None:
        """Pull it out."""
        self.line.pull_out()


class PtyProbe:
    """A virtual probe with a serial line: it sends `+82.1875 Cel` at each of its readings."""

    def __init__(self, path: Path) -> None:
        """Plug it in.

        Args:
            path: Where its port is found.
        """
        self.line = PtyLine(path)
        self.lost = 0

    def say(self, said: Said) -> None:
        """Send a reading."""
        self.lost += not self.line.write_line(probe_line(said))

    def pump(self) -> None:
        """Throw away what was sent to it."""
        self.line.requests()

    def close(self) -> None:
        """Pull it out."""
        self.line.pull_out()


def scale_line(said: Said, mode: str = "GS") -> bytes:
    r"""Return the line that a continuous scale sends: status, mode, sign, mass, unit.

    Args:
        said: A reading of a scale.
        mode: "GS" gross or "NT" net.

    Example:
        >>> scale_line(Said("under_pot", "north/under-pot", 0, 12.34, "kg", 0.001))
        b'ST,GS,+  12.340kg\r\n'
    """
    if said.value is None:
        return f"OL,{mode},+--------{said.unit}\r\n".encode("ascii")
    status = "ST" if said.stable else "US"
    sign = "-" if said.value < 0.0 else "+"
    figures = f"{abs(said.value):8.{decimals_of(said.step)}f}"
    return f"{status},{mode},{sign}{figures}{said.unit}\r\n".encode("ascii")


def scale_answer(said: Said | None) -> bytes:
    r"""Return the line that a polled scale answers with; not ready before its first reading.

    Example:
        >>> scale_answer(Said("under_pot", "north/under-pot", 0, 0.1, "kg", 0.001, stable=False))
        b'S D      0.100 kg\r\n'
    """
    if said is None:
        return b"S I\r\n"
    if said.value is None:
        return b"S +\r\n"
    state = "S" if said.stable else "D"
    return f"S {state} {said.value:10.{decimals_of(said.step)}f} {said.unit}\r\n".encode("ascii")


def probe_line(said: Said) -> bytes:
    r"""Return the line that a probe sends: signed number, unit.

    Example:
        >>> probe_line(Said("milk", "north/milk", 0, 82.1875, "Cel", 0.0625))
        b'+82.1875 Cel\r\n'
    """
    value = 0.0 if said.value is None else said.value
    return f"{value:+.{decimals_of(said.step)}f} {said.unit}\r\n".encode("ascii")
