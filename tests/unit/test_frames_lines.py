"""ASCII lines of scales and probes. All lines are invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import FrameError
from collector.frames.lines import LINE_FORMS, LineDecoder, compile_expression
from collector.readings import Quality, Reading, TimeSource

_A = "status-mode-weight-unit"
_B = "reply-state-weight-unit"
_C = "sign-weight-unit"
_F = "pounds-and-ounces"


def _one(decoder: LineDecoder, line: str | bytes) -> Reading:
    data = line if isinstance(line, bytes) else line.encode()
    (reading,) = decoder.decode(data, channel="dev/scale", arrival_ms=1_772_000_000_000)
    return reading


def _scale(pattern: str, unit: str | None = None, **more: object) -> LineDecoder:
    return LineDecoder(series="north/scale", unit=unit, pattern=pattern, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("pattern", "line", "value", "unit"),
    [
        (_A, "ST,GS,+  12.340kg", 12.34, "kg"),
        (_A, "ST,NT,-   0.125kg", -0.125, "kg"),
        (_A, "ST,GS,+    1250g", 1250.0, "g"),
        (_A, "ST,GS,+  12.340 KG", 12.34, "kg"),
        (_B, "S S     100.00 g", 100.0, "g"),
        (_B, "S S      -0.05 g", -0.05, "g"),
        (_C, "-   0.02 kg", -0.02, "kg"),
        (_C, "+   12.34 kg  ", 12.34, "kg"),
        (_F, "12 lb 4.5 oz", 12.28125, "lb"),
        (_F, "- 0lb 8oz", -0.5, "lb"),
        ("number-unit", "82.25 C", 82.25, "Cel"),
        ("number-unit", "180.0°F", 180.0, "degF"),
        ("number-unit", "-0.5 K", -0.5, "K"),
        ("number-unit", "0.82 m", 0.82, "m"),
    ],
)
def test_a_line_at_rest_is_a_good_reading(pattern: str, line: str, value: float, unit: str) -> None:
    reading = _one(_scale(pattern), line)
    assert (reading.series, reading.value, reading.unit) == ("north/scale", value, unit)
    assert (reading.quality, reading.reason) == (Quality.GOOD, "")
    assert (reading.time_ms, reading.time_source) == (1_772_000_000_000, TimeSource.ARRIVAL)
    assert reading.frame is None


@pytest.mark.parametrize(
    ("pattern", "line", "value"),
    [
        (_A, "US,NT,-   0.125kg", -0.125),
        (_B, "S D   99.87 kg", 99.87),
        (_C, "+   12.34     ", 12.34),
    ],
)
def test_a_moving_load_is_kept_but_suspect(pattern: str, line: str, value: float) -> None:
    reading = _one(_scale(pattern, "kg"), line)
    assert (reading.value, reading.unit) == (value, "kg")
    assert (reading.quality, reading.reason) == (Quality.SUSPECT, "not stable")


@pytest.mark.parametrize(
    ("pattern", "line", "reason"),
    [
        (_A, "OL,GS,+------kg", "overload"),
        (_A, "OL,GS,+ 99.999kg", "overload"),
        (_A, "UL,GS,-------kg", "underload"),
        (_B, "S +", "overload"),
        (_B, "S -", "underload"),
        (_B, "S I", "not ready"),
        (_B, "S S", "no value"),
        (_A, "ST,GS,+------kg", "no value"),
    ],
)
def test_overload_and_not_ready_have_no_value_and_never_become_zero(
    pattern: str, line: str, reason: str
) -> None:
    reading = _one(_scale(pattern, "kg"), line)
    assert reading.series == "north/scale"
    assert reading.value is None
    assert (reading.quality, reading.reason) == (Quality.BAD, reason)
    assert reading.frame == line.encode()


@pytest.mark.parametrize(
    ("pattern", "line"),
    [
        (_A, "ST,GS,+  12.340"),
        (_A, "ST,GS,+  12.3"),
        (_A, "40kg"),
        (_A, "ST,GS,+  12.340kg ST,GS,+  12.340kg"),
        (_A, "ST,GS,  12.340kg"),
        (_A, "XX,GS,+  12.340kg"),
        (_A, "st,gs,+  12.340kg"),
        (_B, "S S 100.00"),
        (_C, "12.34 kg"),
        (_C, "+ 12,340 kg"),
        (_C, "+ 1.234.5 kg"),
        (_C, "+ 12. kg"),
        (_F, "12 lb 16 oz"),
        (_F, "12 lb"),
        ("number", "82.2 C"),
        ("number", "٨٢.٢"),
        ("number", "nan"),
        ("number", ""),
        ("number-unit", "82.2"),
        ("number-unit", "0x10"),
        ("number-unit", "1e99 C"),
    ],
)
def test_a_line_that_does_not_fit_as_a_whole_is_one_bad_frame(pattern: str, line: str) -> None:
    reading = _one(_scale(pattern), line)
    assert reading.series == "dev/scale"
    assert reading.value is None
    assert reading.quality is Quality.BAD
    assert reading.reason
    assert reading.frame == line.encode()


def test_a_unit_changed_at_the_scale_is_bad_and_says_so() -> None:
    reading = _one(_scale(_A, "kg"), "ST,GS,+  12.340lb")
    assert (reading.value, reading.quality) == (None, Quality.BAD)
    assert reading.reason == "unit changed at the instrument: 'lb' instead of 'kg'"
    assert reading.frame == b"ST,GS,+  12.340lb"


def test_a_decimal_comma_is_refused_unless_configured_and_then_a_point_is() -> None:
    assert "decimal comma" in _one(_scale(_C), "+ 12,340 kg").reason
    with_comma = _scale(_C, decimal_comma=True)
    assert _one(with_comma, "+ 12,340 kg").value == 12.34
    assert _one(with_comma, "+ 12.340 kg").quality is Quality.BAD


def test_a_unit_nobody_knows_is_kept_but_suspect() -> None:
    reading = _one(LineDecoder(series="north/milk", pattern="number-unit"), "82.2 Q")
    assert (reading.value, reading.unit, reading.quality) == (82.2, "Q", Quality.SUSPECT)
    assert "unknown unit" in reading.reason


def test_a_number_without_any_unit_is_suspect() -> None:
    reading = _one(LineDecoder(series="north/milk", pattern="number"), "82.2")
    assert (reading.value, reading.quality, reading.reason) == (82.2, Quality.SUSPECT, "no unit")


def test_a_tare_is_never_taken_for_a_load() -> None:
    reading = _one(_scale(_A, "kg"), "ST,TR,+   0.500kg")
    assert (reading.quality, reading.reason) == (Quality.SUSPECT, "a tare, not a load")


@pytest.mark.parametrize(
    ("weighing", "line", "quality"),
    [
        ("gross", "ST,GS,+   1.000kg", Quality.GOOD),
        ("gross", "ST,NT,+   1.000kg", Quality.SUSPECT),
        ("net", "ST,NT,+   1.000kg", Quality.GOOD),
        ("net", "ST,GS,+   1.000kg", Quality.SUSPECT),
        ("any", "ST,NT,+   1.000kg", Quality.GOOD),
    ],
)
def test_a_tare_set_at_the_scale_is_noticed_where_gross_or_net_is_wanted(
    weighing: str, line: str, quality: Quality
) -> None:
    assert _one(_scale(_A, "kg", weighing=weighing), line).quality is quality


def test_the_degree_sign_of_an_older_instrument_is_read() -> None:
    decoder = LineDecoder(series="north/milk", pattern="number-unit")
    assert _one(decoder, b"82.2 \xb0C").unit == "Cel"


def test_an_own_expression_reads_status_sign_value_and_unit() -> None:
    decoder = LineDecoder(
        series="north/milk",
        expression=r"T1 (?P<status>OK|RISING) (?P<sign>-?)(?P<value>\d+\.\d) (?P<unit>\w+)",
        stable_status="OK",
    )
    at_rest, moving = _one(decoder, "T1 OK -1.5 degC"), _one(decoder, "T1 RISING 82.2 F")
    assert (at_rest.value, at_rest.unit, at_rest.quality) == (-1.5, "Cel", Quality.GOOD)
    assert (moving.unit, moving.reason) == ("degF", "not stable")
    assert _one(decoder, "T1 OK ٨.٢ degC").quality is Quality.BAD


@pytest.mark.parametrize(
    ("expression", "part"),
    [("(", "can't be read"), (r"\d+", "value"), (r"(?P<value>\d)(?P<weight>\d)", "weight")],
)
def test_an_expression_that_can_not_work_is_refused_with_why(expression: str, part: str) -> None:
    with pytest.raises(FrameError, match=part):
        compile_expression(expression)


def test_an_unknown_pattern_is_refused_with_the_known_ones() -> None:
    with pytest.raises(FrameError, match=_A):
        LineDecoder(series="x", pattern="status")


@pytest.mark.parametrize("pattern", LINE_FORMS)
@given(
    data=st.binary(max_size=80) | st.from_regex("[SUOL, GTN+0-9.,kglboz-]{0,40}").map(str.encode)
)
def test_no_bytes_make_a_decoder_raise_and_every_line_is_one_reading(
    pattern: str, data: bytes
) -> None:
    reading = _one(LineDecoder(series="north/scale", pattern=pattern), data)
    assert (reading.value is None) == (reading.quality is Quality.BAD)
    assert (reading.reason == "") == (reading.quality is Quality.GOOD)
    reading.reason.encode("utf-8")


@given(grams=st.integers(0, 60_000), sign=st.sampled_from("+-"))
def test_what_a_scale_prints_is_read_back_to_the_digit(grams: int, sign: str) -> None:
    reading = _one(_scale(_A, "kg"), f"ST,GS,{sign}{grams / 1000:8.3f}kg")
    assert reading.value == float(f"{sign}{grams / 1000:.3f}")
