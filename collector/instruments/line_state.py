# SPDX-License-Identifier: MIT
"""What a serial line is doing: speaking, silent, or speaking what nobody can read. Pure."""

from __future__ import annotations

import enum


class Speech(enum.Enum):
    """What has been heard of late."""

    VALID = "valid lines"
    SILENT = "the line is silent"
    UNREADABLE = "no valid line"


class LineState:
    """Tells silence (cable, power) from bytes without a valid line (baud rate, parity, pattern).

    Attributes:
        speech: What was heard of late; valid at first, until the patience is over.
        bytes_since_valid: Bytes heard since the last valid line.
    """

    def __init__(self, patience_s: float, now_s: float) -> None:
        """Begin to listen.

        Args:
            patience_s: For so long nothing, or nothing valid, is not worth a word [s].
            now_s: The time, on a steady clock [s].
        """
        self.speech = Speech.VALID
        self.bytes_since_valid = 0
        self._patience_s = patience_s
        self._heard_s = now_s
        self._unreadable_since_s: float | None = None

    def heard(self, count: int, now_s: float, *, valid: bool) -> None:
        """Note that bytes came.

        Args:
            count: How many.
            now_s: When [s].
            valid: Whether a valid line ended with them.
        """
        if now_s - self._heard_s >= self._patience_s:
            self._unreadable_since_s = None  # what came before the silence no longer counts
        self._heard_s = now_s
        if valid:
            self.bytes_since_valid = 0
            self._unreadable_since_s = None
            return
        self.bytes_since_valid += count
        if self._unreadable_since_s is None:
            self._unreadable_since_s = now_s

    def changed(self, now_s: float) -> Speech | None:
        """Return what the line is doing, if that is not what it did at the last call.

        Args:
            now_s: The time [s].
        """
        since_s = self._unreadable_since_s
        speech = self.speech
        if now_s - self._heard_s >= self._patience_s:
            speech = Speech.SILENT
        elif since_s is None:
            speech = Speech.VALID
        elif now_s - since_s >= self._patience_s:
            speech = Speech.UNREADABLE
        if speech is self.speech:
            return None
        self.speech = speech
        return speech
