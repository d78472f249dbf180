# SPDX-License-Identifier: MIT
"""The nine bytes of a one-wire thermometer, and values known as false readings. Pure: no I/O.

Source: DS18B20 data sheet, register and temperature tables (seen as text in public repositories);
the false values as marked at each.
"""

from __future__ import annotations

import binascii
from dataclasses import dataclass, replace
from typing import Literal, get_args

from collector.errors import CurdwrightError, FrameError
from collector.frames.crc import crc8_one_wire
from collector.frames.names import name_fault, series_of
from collector.frames.protocol import arrived, unreadable
from collector.readings import Quality, Reading
from collector.units import kind_of, to_canonical

SCRATCHPAD_BYTES = 9
POWER_ON_DEGC = 85.0  # register 0x0550: what it holds before the first conversion (seen)
NOT_CONNECTED_DEGC = -127.0  # what a common microcontroller library says without a probe (seen)

Probe = Literal["one-wire", "int16-tenths", "scpi"]
_PROBES: tuple[str, ...] = get_args(Probe)
_STEP_ALLOWED_K = 0.25
_AFTER_CONVERSION_K = 0.02

# Numbers that are said instead of a value. Common practice, but for 9.91e37 (SCPI, seen in
# several manuals).
_TENTHS_FALSE = {-3276.8: "sensor open or shorted", 3276.7: "sensor open or shorted"}
_SCPI_FALSE = {9.91e37: "not a number", 9.9e37: "over range", -9.9e37: "under range"}


@dataclass(frozen=True, slots=True)
class Scratchpad:
    """What the nine bytes say.

    Attributes:
        temperature_degc: In steps of the resolution [degC].
        resolution_bits: 9 to 12; a step is 0.5, 0.25, 0.125 or 0.0625 K.
        alarm_high_degc: The register TH [degC].
        alarm_low_degc: The register TL [degC].
        power_on: The temperature register holds exactly the power-on value.
    """

    temperature_degc: float
    resolution_bits: int
    alarm_high_degc: int
    alarm_low_degc: int
    power_on: bool


def temperature_degc(register: int, resolution_bits: int = 12) -> float:
    """Return the temperature of a 16-bit register.

    Args:
        register: 0 … 0xFFFF, two's complement in steps of 1/16 K.
        resolution_bits: 9 to 12; the low bits that are undefined below 12 are masked.

    Returns:
        [degC].

    Source:
        DS18B20 data sheet, temperature/data table (seen).

    Example:
        >>> temperature_degc(0xFF5E)
        -10.125
    """
    masked = register & ~((1 << (12 - resolution_bits)) - 1) & 0xFFFF
    return (masked - 0x10000 if masked & 0x8000 else masked) / 16.0


def decode_scratchpad(data: bytes) -> Scratchpad:
    """Return what the nine bytes of a one-wire thermometer say.

    Args:
        data: Temperature low and high, TH, TL, configuration, three reserved, check sum.

    Returns:
        The content.

    Raises:
        FrameError: Not nine bytes, all zero (bus shorted to ground; the check sum would pass), all
            ones (nothing answered), or the check sum is wrong.
    """
    if len(data) != SCRATCHPAD_BYTES:
        raise FrameError(f"{len(data)} bytes instead of the scratchpad's 9.")
    if not any(data):
        raise FrameError("nine zero bytes: the bus is shorted to ground.", do="Check the wiring.")
    if all(byte == 0xFF for byte in data):
        raise FrameError("nine bytes of ff: nothing answered.", do="Check plug and pull-up.")
    expected = crc8_one_wire(data[:8])
    if expected != data[8]:
        raise FrameError(
            f"check sum {data[8]:02x} instead of {expected:02x}.",
            do="Shorten the cable or check the pull-up if this goes on.",
        )
    register = int.from_bytes(data[:2], "little")
    bits = 9 + (data[4] >> 5 & 0b11)
    return Scratchpad(
        temperature_degc=temperature_degc(register, bits),
        resolution_bits=bits,
        alarm_high_degc=int.from_bytes(data[2:3], "little", signed=True),
        alarm_low_degc=int.from_bytes(data[3:4], "little", signed=True),
        power_on=register == 0x0550,
    )


@dataclass(frozen=True, slots=True)
class ScratchpadDecoder:
    """Decodes a payload of the nine bytes, as they are or written in hexadecimal digits.

    Attributes:
        series: A name, or a template made of the topic: {topic}, {1}, {2} …
    """

    series: str

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Return the one reading; see `Decoder.decode`."""
        series = series_of(self.series, channel)
        fault = name_fault(series)
        if fault:
            return unreadable(channel, fault, data, arrival_ms)
        try:
            raw = data
            if len(data) != SCRATCHPAD_BYTES:
                raw = binascii.unhexlify(b"".join(data.split()))
            pad = decode_scratchpad(raw)
        except binascii.Error:
            reason = f"{len(data)} bytes, neither nine nor hexadecimal digits"
            return unreadable(channel, reason, data, arrival_ms)
        except FrameError as error:
            return unreadable(channel, str(error), data, arrival_ms)
        return [arrived(series, pad.temperature_degc, "Cel", arrival_ms)]


class FalseReadingGuard:
    """Marks values that a kind of probe says when it has measured nothing.

    It remembers the last trusted value of each series, because 85 degC is a real temperature of a
    pot as well: it is doubted only where the pot can't have got there.
    """

    def __init__(self, probe: Probe, *, max_rate_k_per_s: float = 1.0, gap_s: float = 60.0) -> None:
        """Begin without any earlier reading.

        Args:
            probe: The kind: "one-wire", "int16-tenths" or "scpi".
            max_rate_k_per_s: The fastest change that is believed of 85 degC exactly [K/s].
            gap_s: After so long without a trusted reading, the next one counts as the first [s].
        """
        if probe not in _PROBES:
            raise FrameError(f"the probe {probe!r} is not known", do=f"Use {', '.join(_PROBES)}.")
        self._probe = probe
        self._rate_k_per_s = max_rate_k_per_s
        self._gap_ms = gap_s * 1000.0
        self._trusted: dict[str, tuple[int, float]] = {}

    def check(self, reading: Reading) -> Reading:
        """Return the reading, marked if its value is known to be false or may be.

        Args:
            reading: As decoded, in the order of time.

        Returns:
            The same reading; with quality bad and no value where the value can't be one; suspect
            where it may be the power-on value.
        """
        if reading.value is None:
            return reading
        if self._probe == "one-wire":
            return self._one_wire(reading, reading.value)
        table = _TENTHS_FALSE if self._probe == "int16-tenths" else _SCPI_FALSE
        for false, meaning in table.items():
            if abs(reading.value - false) <= abs(false) * 1e-6:
                return _false(reading, meaning)
        return reading

    def _one_wire(self, reading: Reading, value: float) -> Reading:
        if kind_of(reading.unit) != "temperature":
            return reading
        try:
            degc = to_canonical(value, reading.unit, "temperature")
        except (CurdwrightError, OverflowError):
            return reading
        if abs(degc - NOT_CONNECTED_DEGC) < _AFTER_CONVERSION_K:
            return _false(reading, "probe not connected")
        if abs(degc - POWER_ON_DEGC) < _AFTER_CONVERSION_K:
            doubt = self._power_on_doubt(reading, degc)
            if doubt:
                reason = f"{reading.reason}; {doubt}" if reading.reason else doubt
                return replace(
                    reading, quality=max(reading.quality, Quality.SUSPECT), reason=reason
                )
        if reading.quality is Quality.GOOD:
            self._trusted[reading.series] = (reading.time_ms, degc)
        return reading

    def _power_on_doubt(self, reading: Reading, degc: float) -> str:
        last = self._trusted.get(reading.series)
        if last is None or abs(reading.time_ms - last[0]) > self._gap_ms:
            return "85 degC exactly as the first reading: may be the power-on value"
        elapsed_s = abs(reading.time_ms - last[0]) / 1000.0
        step_k = abs(degc - last[1])
        if step_k <= self._rate_k_per_s * elapsed_s + _STEP_ALLOWED_K:
            return ""
        return (
            f"85 degC exactly, {step_k:.1f} K from the reading {elapsed_s:.1f} s before: "
            "may be the power-on value"
        )


def _false(reading: Reading, meaning: str) -> Reading:
    reason = f"{meaning}: {reading.value!r} was said"
    if reading.reason:
        reason = f"{reading.reason}; {reason}"
    return replace(reading, value=None, quality=Quality.BAD, reason=reason)
