"""Plain numbers, their units, and names made of topics."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.frames.names import as_series, name_fault, series_of, shown, template_fault
from collector.frames.number import NumberDecoder, parse_number
from collector.readings import Quality, Reading

_NOW_MS = 1_772_000_000_000


def _one(decoder: NumberDecoder, data: bytes, channel: str = "kitchen/north/milk") -> Reading:
    (reading,) = decoder.decode(data, channel=channel, arrival_ms=_NOW_MS)
    return reading


@pytest.mark.parametrize(
    ("payload", "value", "unit"),
    [
        (b"82.25", 82.25, "Cel"),
        (b"82.25 C", 82.25, "Cel"),
        (b"82.25\xc2\xb0C\n", 82.25, "Cel"),
        (b"-0.5", -0.5, "Cel"),
        (b"+8.225e1 Cel", 82.25, "Cel"),
    ],
)
def test_a_number_with_or_without_its_unit_is_a_reading(
    payload: bytes, value: float, unit: str
) -> None:
    reading = _one(NumberDecoder("north/milk", "Cel"), payload)
    assert (reading.value, reading.unit, reading.quality) == (value, unit, Quality.GOOD)


@pytest.mark.parametrize(
    "payload",
    [b"", b"warm", b"82,25", b"1 2", b"82.25.1", b"nan", b"inf", b"1e999", b"0x10", b"1_000",
     b"\xff\xfe", b"true", "٨٢".encode()],
)  # fmt: skip
def test_what_is_no_number_is_one_bad_frame_under_the_topic(payload: bytes) -> None:
    reading = _one(NumberDecoder("north/milk", "Cel"), payload)
    assert (reading.series, reading.value) == ("kitchen/north/milk", None)
    assert reading.quality is Quality.BAD
    assert reading.frame == payload


def test_a_comma_is_taken_when_it_is_configured() -> None:
    assert _one(NumberDecoder("x", "Cel", decimal_comma=True), b"82,25").value == 82.25


def test_another_unit_than_the_configured_one_is_bad() -> None:
    reading = _one(NumberDecoder("north/milk", "Cel"), b"180 F")
    assert (reading.series, reading.value, reading.quality) == ("north/milk", None, Quality.BAD)
    assert "unit changed" in reading.reason


def test_series_names_are_made_of_the_topic() -> None:
    decoder = NumberDecoder("{2}/milk", "Cel")
    assert _one(decoder, b"82.25", "kitchen/north/temperature").series == "north/milk"
    lost = _one(decoder, b"82.25", "kitchen")
    assert (lost.quality, lost.series) == (Quality.BAD, "kitchen")


def test_a_topic_that_can_not_be_a_name_keeps_its_frames_under_the_nearest_name() -> None:
    reading = _one(NumberDecoder("{topic}", "Cel"), b"82.25", "/north pot/milk")
    assert (reading.series, reading.quality) == ("north_pot/milk", Quality.BAD)


@pytest.mark.parametrize("name", ["", "/a", "a b", "ä", "north/checks", "_a", "a\n", "a" * 256])
def test_names_that_no_series_may_have_are_told(name: str) -> None:
    assert name_fault(name)
    assert name_fault(as_series(name)) is None


@pytest.mark.parametrize("template", ["{topics}", "{0}", "{-1}", "{", "a b", "{topic}/checks", ""])
def test_templates_that_can_not_work_are_told(template: str) -> None:
    assert template_fault(template)


@given(st.text(max_size=40) | st.text("ab/checks_", min_size=240, max_size=270))
def test_every_channel_has_a_series_for_its_bad_frames(channel: str) -> None:
    assert name_fault(as_series(channel)) is None


@given(st.text(max_size=200))
def test_whatever_is_shown_can_be_stored_and_sent(text: str) -> None:
    shown(text).encode("utf-8")
    assert shown(text).isprintable()
    assert len(shown(text)) <= 82


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_the_text_of_a_number_gives_the_number(value: float) -> None:
    assert parse_number(repr(value)) == value


@given(st.binary(max_size=60), st.sampled_from(["{topic}", "{1}/{2}", "north/milk"]))
def test_no_bytes_make_the_decoder_raise(data: bytes, series: str) -> None:
    reading = _one(NumberDecoder(series), data)
    assert (reading.value is None) == (reading.quality is Quality.BAD)
    assert series_of(series, "kitchen/north/milk") or reading.quality is Quality.BAD
