"""The one-wire thermometer against its data sheet."""

from __future__ import annotations

import pytest

from collector.errors import FrameError
from collector.frames.crc import crc8_one_wire
from collector.frames.onewire import decode_scratchpad, temperature_degc


# DS18B20 data sheet, table "temperature/data relationship" (seen as text in public repositories).
@pytest.mark.parametrize(
    ("register", "degc"),
    [(0x07D0, 125.0), (0x0550, 85.0), (0x0191, 25.0625), (0x00A2, 10.125), (0x0008, 0.5),
     (0x0000, 0.0), (0xFFF8, -0.5), (0xFF5E, -10.125), (0xFE6F, -25.0625), (0xFC90, -55.0)],
)  # fmt: skip
def test_the_data_sheets_table_is_met(register: int, degc: float) -> None:
    assert temperature_degc(register) == degc


# The step is 0.5, 0.25, 0.125, 0.0625 K at 9 to 12 bit, and the low bits are undefined (seen in
# the same data sheet); 0x0191 with them masked is 25.0, 25.0, 25.0, 25.0625 and 0x07DF 125.5,
# 125.75, 125.875, 125.9375 (computed).
@pytest.mark.parametrize(
    ("bits", "low", "high"),
    [(9, 25.0, 125.5), (10, 25.0, 125.75), (11, 25.0, 125.875), (12, 25.0625, 125.9375)],
)
def test_undefined_low_bits_are_masked(bits: int, low: float, high: float) -> None:
    assert temperature_degc(0x0191, bits) == low
    assert temperature_degc(0x07DF, bits) == high


def test_the_check_sum_meets_its_published_values() -> None:
    # Check value of the CRC catalogue's one-wire entry (from memory, computed).
    assert crc8_one_wire(b"123456789") == 0xA1
    # The serial number 02 1C B8 01 00 00 00 of the maker's application note on the check sum has
    # A2 (from memory, computed).
    assert crc8_one_wire(bytes.fromhex("021cb801000000")) == 0xA2


def test_the_power_on_scratchpad_has_a_good_check_sum_and_says_85() -> None:
    # `50 05 ff ff f0 ff ff ff 5c : crc=5c YES ... t=85000`, as the Linux kernel's one-wire driver
    # prints it (seen, check sum computed); the configuration byte f0 masks to 12 bit.
    pad = decode_scratchpad(bytes.fromhex("5005fffff0ffffff5c"))
    assert (pad.temperature_degc, pad.resolution_bits, pad.power_on) == (85.0, 12, True)


def test_a_shorted_bus_passes_the_check_sum_and_is_refused_all_the_same() -> None:
    assert crc8_one_wire(bytes(8)) == 0  # exact: the sum of zeros is zero
    with pytest.raises(FrameError, match="shorted"):
        decode_scratchpad(bytes(9))
