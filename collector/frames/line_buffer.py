# SPDX-License-Identifier: MIT
"""Bytes of a serial line into whole lines. Pure: no port, no clock."""

from __future__ import annotations

import re
from dataclasses import dataclass

CAP_BYTES = 256
_ANY_END = re.compile(rb"[\r\n]")


@dataclass(frozen=True, slots=True)
class Line:
    """One line as it came, without its end.

    Attributes:
        data: Its bytes.
        fault: Why it is no whole line; "" if it is one. A line with a fault must not be decoded,
            it is kept as a bad frame.
    """

    data: bytes
    fault: str = ""


class LineBuffer:
    """Collects bytes and gives back whole lines; half a line is never taken for a reading.

    What comes first after the port was opened may be the second half of a line, so it is left out
    up to the first line end and counted; after a silence the next byte begins a line.

    Attributes:
        discarded_bytes: Bytes left out so far: beginnings after opening, and the rest of lines
            that were too long.
        discarded_lines: How many beginnings were left out.
    """

    def __init__(self, terminator: bytes | None = None, *, cap_bytes: int = CAP_BYTES) -> None:
        """Start empty, as after opening a port.

        Args:
            terminator: The line end; None takes CR, LF and CR LF alike.
            cap_bytes: A longer line is given up as one bad frame, and the next line end is sought.
        """
        self._end = _ANY_END if not terminator else re.compile(re.escape(terminator))
        self._kept_back = max(len(terminator or b"") - 1, 0)
        self._cap = cap_bytes
        self._buffer = b""
        self._at_line_start = False
        self._giving_up = False
        self.discarded_bytes = 0
        self.discarded_lines = 0

    def feed(self, data: bytes) -> list[Line]:
        """Return the lines that are whole once `data` has come; empty lines are left out."""
        self._buffer += data
        lines: list[Line] = []
        start = 0
        for match in self._end.finditer(self._buffer):
            lines += self._whole(self._buffer[start : match.start()])
            start = match.end()
        self._buffer = self._buffer[start:]
        if len(self._buffer) > self._cap + self._kept_back:
            lines += self._too_long(self._buffer)
            cut = len(self._buffer) - self._kept_back
            self._buffer = self._buffer[cut:]
        return lines

    def silence(self) -> list[Line]:
        """Tell that nothing has come for so long that an unfinished line won't be finished.

        Returns:
            The unfinished line, with its fault, if there was one.
        """
        stale, self._buffer = self._buffer, b""
        begun_within, self._at_line_start = not self._at_line_start, True
        if self._giving_up:
            self._giving_up = False
            self.discarded_bytes += len(stale)
            return []
        if not stale.strip():
            return []
        if begun_within:
            self._discard(stale)
            return []
        return [Line(stale, "the line was cut off by a silence")]

    def reopened(self) -> None:
        """Tell that the port was opened anew: what is unfinished is left out and counted."""
        if self._buffer:
            self._discard(self._buffer)
        self._buffer = b""
        self._at_line_start = False
        self._giving_up = False

    def _discard(self, data: bytes) -> None:
        self.discarded_bytes += len(data)
        self.discarded_lines += 1

    def _whole(self, data: bytes) -> list[Line]:
        whole, self._at_line_start = self._at_line_start, True
        if self._giving_up:
            self._giving_up = False
            self.discarded_bytes += len(data)
            return []
        if len(data) > self._cap:
            return self._fault_of_length(data)
        if not whole:
            if data:
                self._discard(data)
            return []
        return [Line(data)] if data.strip() else []

    def _too_long(self, data: bytes) -> list[Line]:
        if self._giving_up:
            self.discarded_bytes += len(data) - self._kept_back
            return []
        self._giving_up = True
        return self._fault_of_length(data[: len(data) - self._kept_back])

    def _fault_of_length(self, data: bytes) -> list[Line]:
        self.discarded_bytes += max(len(data) - self._cap, 0)
        return [
            Line(
                data[: self._cap],
                f"no line end within {self._cap} bytes; check baud rate, parity and terminator",
            )
        ]
