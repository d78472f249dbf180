# SPDX-License-Identifier: MIT
"""Check sums of frames. Pure."""

from __future__ import annotations

_ONE_WIRE_POLYNOMIAL = 0x8C  # x^8 + x^5 + x^4 + 1, reflected


def crc8_one_wire(data: bytes) -> int:
    """Return the check sum of the one-wire bus, start value 0, least significant bit first.

    Args:
        data: The bytes; over bytes and their own check sum the result is 0.

    Returns:
        0 … 255; 0 too for any number of zero bytes, so all-zero data must be refused elsewhere.

    Source:
        CRC-8 of the one-wire bus; the check value 0xA1 of "123456789" (from memory, computed).

    Example:
        >>> hex(crc8_one_wire(b"123456789"))
        '0xa1'
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (_ONE_WIRE_POLYNOMIAL if crc & 1 else 0)
    return crc
