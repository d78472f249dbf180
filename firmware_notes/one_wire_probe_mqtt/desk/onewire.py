# SPDX-License-Identifier: MIT
"""Stands in for the board's `onewire` where main.py runs at a desk: a wire with one probe.

The nine bytes that each conversion leaves come from the lines of `wire.txt`, in hexadecimal
digits; a line `nobody` is a probe that was pulled off. The last line holds for ever. Without the
file, the probe is heated from 20 degC by 1/16 K at each conversion.
"""


def crc8(data):
    """Return the check sum of the one-wire bus."""
    crc = 0
    for byte in data:
        for bit in range(8):
            mix = (crc ^ byte >> bit) & 1
            crc = crc >> 1 ^ (0x8C if mix else 0)
    return crc


class OneWire:
    """The wire, with the calls that main.py makes."""

    def __init__(self, pin):
        """Read what the probe shall say."""
        self._pin = pin
        self._sixteenths = 20 * 16
        self._commands = []
        self._lines = []
        self._pad = self._made(0x0550)  # before the first conversion
        try:
            with open("wire.txt") as file:
                self._lines = [line.strip() for line in file if line.strip()]
        except OSError:
            pass

    def reset(self):
        """Begin anew; return whether a probe is there."""
        self._commands = []
        if self._lines and self._lines[0] == "nobody":
            self._advance()
            return False
        return True

    def writebyte(self, byte):
        """Take a command of the bus master."""
        self._commands.append(byte)
        if self._commands == [0xCC, 0x44]:
            self._convert()

    def readinto(self, pad):
        """Give the scratchpad, if it was asked for; else nobody pulls the wire down."""
        asked = self._commands == [0xCC, 0xBE]
        pad[:] = self._pad if asked else b"\xff" * len(pad)
        if asked:
            self._advance()

    def crc8(self, data):
        """Return the check sum of the one-wire bus."""
        return crc8(data)

    def _convert(self):
        if self._lines:
            line = self._lines[0]
            self._pad = bytes(int(line[n : n + 2], 16) for n in range(0, 18, 2))
        else:
            self._sixteenths += 1
            self._pad = self._made(self._sixteenths)

    def _advance(self):
        if len(self._lines) > 1:
            self._lines.pop(0)

    def _made(self, register):
        pad = bytes([register & 0xFF, register >> 8, 75, 70, 0x7F, 0xFF, 0x0C, 0x10])
        return pad + bytes([crc8(pad)])
