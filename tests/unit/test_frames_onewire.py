"""Scratchpads, and the guard against values that are known as false."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import FrameError
from collector.frames.crc import crc8_one_wire
from collector.frames.onewire import (
    FalseReadingGuard,
    Probe,
    ScratchpadDecoder,
    decode_scratchpad,
)
from collector.readings import Quality, Reading, TimeSource

_NOW_MS = 1_772_000_000_000


def _pad(register: int, configuration: int = 0x7F) -> bytes:
    raw = register.to_bytes(2, "little") + bytes([75, 0xF6, configuration, 0xFF, 0x0C, 0x10])
    return raw + bytes([crc8_one_wire(raw)])


def _said(value: float | None, at_s: float = 0.0, unit: str = "Cel") -> Reading:
    return Reading(
        series="north/milk",
        value=value,
        unit=unit,
        time_ms=_NOW_MS + round(at_s * 1000),
        time_source=TimeSource.ARRIVAL,
        arrival_ms=_NOW_MS,
    )


def test_a_scratchpad_says_temperature_resolution_and_alarm_registers() -> None:
    pad = decode_scratchpad(_pad(0x0523))
    assert (pad.temperature_degc, pad.resolution_bits) == (82.1875, 12)
    assert (pad.alarm_high_degc, pad.alarm_low_degc, pad.power_on) == (75, -10, False)


@pytest.mark.parametrize(("configuration", "bits"), [(0x1F, 9), (0x3F, 10), (0x5F, 11), (0x7F, 12)])
def test_the_configuration_byte_gives_the_resolution(configuration: int, bits: int) -> None:
    assert decode_scratchpad(_pad(0x0523, configuration)).resolution_bits == bits


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (bytes(9), "shorted"),
        (b"\xff" * 9, "nothing answered"),
        (_pad(0x0523)[:8], "8 bytes"),
        (_pad(0x0523) + b"\x00", "10 bytes"),
        (_pad(0x0523)[:8] + b"\x00", "check sum 00"),
    ],
)
def test_a_scratchpad_that_can_not_be_trusted_is_refused_with_why(data: bytes, part: str) -> None:
    with pytest.raises(FrameError, match=part):
        decode_scratchpad(data)


@given(bit=st.integers(0, 71), register=st.integers(0, 0xFFFF))
def test_any_single_wrong_bit_is_found(bit: int, register: int) -> None:
    data = bytearray(_pad(register))
    data[bit // 8] ^= 1 << bit % 8
    with pytest.raises(FrameError):
        decode_scratchpad(bytes(data))


def test_a_payload_of_nine_bytes_or_of_their_digits_is_one_reading() -> None:
    decoder = ScratchpadDecoder("{1}/milk")
    for payload in (_pad(0x0523), _pad(0x0523).hex().encode(), _pad(0x0523).hex(" ").encode()):
        (reading,) = decoder.decode(payload, channel="north/raw", arrival_ms=_NOW_MS)
        assert (reading.series, reading.value, reading.unit) == ("north/milk", 82.1875, "Cel")


@given(st.binary(max_size=40))
def test_no_bytes_make_the_decoder_raise(data: bytes) -> None:
    (reading,) = ScratchpadDecoder("north/milk").decode(data, channel="a", arrival_ms=_NOW_MS)
    assert (reading.value is None) == (reading.quality is Quality.BAD)


def test_85_as_the_first_reading_is_suspect_and_keeps_its_value() -> None:
    reading = FalseReadingGuard("one-wire").check(_said(85.0))
    assert (reading.value, reading.quality) == (85.0, Quality.SUSPECT)
    assert "power-on" in reading.reason


def test_85_that_the_pot_reached_by_heating_is_good() -> None:
    guard = FalseReadingGuard("one-wire")
    values = [84.75, 84.8125, 84.9375, 85.0, 85.0, 85.0625]
    checked = [guard.check(_said(value, at)) for at, value in enumerate(values)]
    assert all(reading.quality is Quality.GOOD for reading in checked)


def test_85_in_a_step_that_no_pot_can_make_is_suspect_each_time_and_the_next_value_is_good() -> (
    None
):
    guard = FalseReadingGuard("one-wire")
    values = [82.0, 85.0, 85.0, 82.125]
    quality = [guard.check(_said(value, at)).quality for at, value in enumerate(values)]
    assert quality == [Quality.GOOD, Quality.SUSPECT, Quality.SUSPECT, Quality.GOOD]


def test_85_after_a_long_silence_counts_as_a_first_reading() -> None:
    guard = FalseReadingGuard("one-wire")
    guard.check(_said(20.0, 0))
    assert guard.check(_said(85.0, 3600)).quality is Quality.SUSPECT


def test_85_in_degrees_fahrenheit_is_known_too() -> None:
    assert FalseReadingGuard("one-wire").check(_said(185.0, unit="degF")).quality is Quality.SUSPECT
    assert FalseReadingGuard("one-wire").check(_said(85.0, unit="degF")).quality is Quality.GOOD


def test_each_series_has_its_own_memory() -> None:
    guard = FalseReadingGuard("one-wire")
    guard.check(_said(84.9))
    other = replace(_said(85.0, 1), series="south/milk")
    assert guard.check(_said(85.0, 1)).quality is Quality.GOOD
    assert guard.check(other).quality is Quality.SUSPECT


@pytest.mark.parametrize(
    ("probe", "value", "meaning"),
    [
        ("one-wire", -127.0, "not connected"),
        ("int16-tenths", -3276.8, "open or shorted"),
        ("int16-tenths", 3276.7, "open or shorted"),
        ("scpi", 9.91e37, "not a number"),
        ("scpi", 9.9e37, "over range"),
        ("scpi", -9.9e37, "under range"),
    ],
)
def test_a_value_that_can_not_be_one_is_bad_and_what_was_said_stays_in_the_reason(
    probe: Probe, value: float, meaning: str
) -> None:
    reading = FalseReadingGuard(probe).check(_said(value))
    assert (reading.value, reading.quality) == (None, Quality.BAD)
    assert meaning in reading.reason
    assert repr(value) in reading.reason


def test_what_is_bad_already_or_no_temperature_is_left_as_it_is() -> None:
    guard = FalseReadingGuard("one-wire")
    assert guard.check(_said(None)) == _said(None)
    assert guard.check(_said(85.0, unit="kg")) == _said(85.0, unit="kg")


def test_an_unknown_kind_of_probe_is_refused_with_the_known_ones() -> None:
    with pytest.raises(FrameError, match="one-wire"):
        FalseReadingGuard("pt100")  # type: ignore[arg-type]


@given(st.floats(allow_nan=False), st.sampled_from(["one-wire", "int16-tenths", "scpi"]))
def test_no_value_makes_the_guard_raise(value: float, probe: Probe) -> None:
    reading = FalseReadingGuard(probe).check(_said(value))
    assert reading.value in (value, None)
