"""SenML packs where the RFC leaves a choice, and writing them."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import FrameError
from collector.frames.senml import SenmlDecoder, parse_pack
from collector.frames.senml_pack import format_pack
from collector.readings import Quality, Reading, TimeSource, bad_reading

_NOW_MS = 1_772_356_530_250


def _parse(*records: dict[str, Any]) -> list[Reading]:
    return parse_pack(json.dumps(records).encode(), now_ms=_NOW_MS)


def test_a_base_value_is_added_and_stands_alone_where_no_value_is_given() -> None:
    readings = _parse({"bn": "a", "bu": "kg", "bv": 20}, {"v": 0.5}, {"t": 1}, {"bv": 3, "v": 1})
    assert [reading.value for reading in readings] == [20.5, 4.0, 20.0]


def test_values_are_added_as_they_are_written() -> None:
    (reading,) = _parse({"n": "a", "u": "kg", "bv": 0.1, "v": 0.2})
    assert reading.value == 0.3


def test_a_base_value_does_not_touch_text() -> None:
    (reading,) = _parse({"n": "a", "bv": 20, "vs": "warm"})
    assert reading.reason == "not a number: text 'warm'"


def test_a_sum_without_a_value_is_kept_as_what_was_said() -> None:
    (reading,) = _parse({"n": "a", "u": "W", "bs": 10, "s": 2.5})
    assert (reading.value, reading.quality) == (None, Quality.BAD)
    assert reading.reason == "a sum without a value: 12.5 x s"


def test_a_sum_beside_a_value_leaves_the_value_good() -> None:
    (reading,) = _parse({"n": "a", "u": "W", "v": 5, "s": 2.5})
    assert (reading.value, reading.quality) == (5.0, Quality.GOOD)


def test_a_pack_that_only_carries_base_fields_says_nothing() -> None:
    assert _parse({"bn": "a", "bt": 1}) == []
    assert _parse({"bn": "a", "t": 5}) == []
    assert SenmlDecoder().decode(b'[{"bn":"a"}]', channel="a", arrival_ms=_NOW_MS) == []


def test_a_relative_time_is_counted_from_arrival_and_is_the_instruments() -> None:
    (reading,) = _parse({"n": "a", "u": "Cel", "t": -2.5, "v": 1})
    assert (reading.time_ms, reading.time_source) == (_NOW_MS - 2_500, TimeSource.INSTRUMENT)
    assert reading.quality is Quality.GOOD


def test_records_come_out_oldest_first_and_equal_times_keep_their_order() -> None:
    readings = _parse(
        {"bu": "Cel", "n": "b", "v": 1}, {"n": "a", "v": 2}, {"n": "c", "t": -1, "v": 3}
    )
    assert [reading.series for reading in readings] == ["c", "b", "a"]


@pytest.mark.parametrize(
    ("time_s", "part"),
    [
        (60.0, ""),
        (60.001, "future"),
        (1_772_356_591, "future"),
        (1_577_836_799, "before 2020"),
        (-1e6, ""),
        (-1e9, "before 2020"),
    ],
)
def test_an_odd_time_is_kept_as_said_and_suspect(time_s: float, part: str) -> None:
    (reading,) = _parse({"n": "a", "u": "Cel", "t": time_s, "v": 82.2})
    absolute = time_s >= 2**28
    assert reading.time_ms == round(time_s * 1000) + (0 if absolute else _NOW_MS)
    assert reading.value == 82.2
    assert reading.quality is (Quality.SUSPECT if part else Quality.GOOD)
    assert part in reading.reason


@pytest.mark.parametrize("time_s", [1e300, -1e300, 253_402_300_800, -1e10, 1e18])
def test_a_time_outside_1970_to_9999_is_replaced_by_arrival_and_told(time_s: float) -> None:
    (reading,) = _parse({"n": "a", "u": "Cel", "t": time_s, "v": 82.2})
    assert (reading.time_ms, reading.time_source) == (_NOW_MS, TimeSource.ARRIVAL)
    assert (reading.value, reading.quality) == (82.2, Quality.SUSPECT)
    assert "time of arrival used" in reading.reason


def test_no_unit_and_an_unknown_unit_are_kept_and_suspect() -> None:
    bare, odd = _parse({"n": "a", "v": 1}, {"n": "b", "u": "stone", "v": 2})
    assert (bare.value, bare.quality, bare.reason) == (1.0, Quality.SUSPECT, "no unit")
    assert (odd.value, odd.unit, odd.quality) == (2.0, "stone", Quality.SUSPECT)
    assert odd.reason.startswith("unknown unit 'stone'")


def test_boot_id_and_running_number_travel_as_labels_that_others_ignore() -> None:
    readings = _parse(
        {"bu": "Cel", "boot": "a41f", "n": "a", "v": 1, "seq": 17},
        {"n": "a", "t": 1, "v": 2, "seq": 18},
        {"boot": "", "n": "a", "t": 2, "v": 3},
        {"boot": {"x": 1}, "n": "a", "t": 3, "v": 4, "seq": "x"},
        {"n": "a", "t": 4, "v": 5, "seq": -1},
    )
    assert [(reading.boot, reading.sequence) for reading in readings] == [
        ("a41f", 17), ("a41f", 18), (None, None), (None, None), (None, None)
    ]  # fmt: skip


def test_text_that_no_store_can_take_is_escaped_in_the_reason() -> None:
    (reading,) = parse_pack(b'[{"n":"a","vs":"\\ud800\\u0000"}]', now_ms=_NOW_MS)
    reading.reason.encode("utf-8")
    assert "\x00" not in reading.reason


def test_a_pack_that_breaks_a_rule_is_one_bad_frame() -> None:
    data = b'[{"n":"a","u":"Cel","v":1},{"n":"b","v":1,"x_":1}]'
    (reading,) = SenmlDecoder().decode(data, channel="kitchen/probe", arrival_ms=_NOW_MS)
    assert reading == bad_reading("kitchen/probe", reading.reason, data, _NOW_MS)
    assert "record 2" in reading.reason


_NAMES = st.sampled_from(["north/milk", "north/pulp", "south/milk", "room"])
_READINGS = st.builds(
    Reading,
    series=_NAMES,
    value=st.floats(allow_nan=False, allow_infinity=False),
    unit=st.sampled_from(["Cel", "kg", "%RH", "g"]),
    time_ms=st.integers(1_577_836_800_000, _NOW_MS),
    time_source=st.just(TimeSource.INSTRUMENT),
    arrival_ms=st.just(_NOW_MS),
    boot=st.none() | st.sampled_from(["a41f", "b7"]),
    sequence=st.none() | st.integers(0, 2**63 - 1),
)


@given(st.lists(_READINGS, min_size=1, max_size=8))
def test_what_is_written_is_read_back_the_same(readings: list[Reading]) -> None:
    back = parse_pack(format_pack(readings), now_ms=_NOW_MS)
    assert back == sorted(readings, key=lambda reading: reading.time_ms)


def test_a_written_pack_uses_base_fields_and_a_small_e() -> None:
    first, second = _parse(
        {"bn": "north/", "bt": 1_772_356_500.25, "bu": "Cel", "n": "milk", "v": 1e-7},
        {"n": "room", "t": 1.5, "v": 1e22},
    )
    assert json.loads(format_pack([first, second])) == [
        {"bn": "north/", "bt": 1_772_356_500.25, "bu": "Cel", "n": "milk", "v": 1e-7},
        {"n": "room", "t": 1.5, "v": 1e22},
    ]
    assert re.search(rb"[0-9]E", format_pack([first, second])) is None


@pytest.mark.parametrize(
    ("unit", "value", "written_unit", "written"),
    [("degF", 180.0, "Cel", 82.2222), ("lb", 1.0, "kg", 0.45359237), ("oz", 16.0, "kg", 0.4535924),
     ("coulomb", 5.0, "C", 5.0), ("hPa", 1013.25, "Pa", 101325.0), ("g", 5.0, "g", 5.0)],
)  # fmt: skip
def test_units_that_senml_lacks_are_converted_when_written(
    unit: str, value: float, written_unit: str, written: float
) -> None:
    reading = Reading("a", value, unit, _NOW_MS, TimeSource.INSTRUMENT, _NOW_MS)
    (record,) = json.loads(format_pack([reading]))
    assert record["bu"] == written_unit
    assert record["v"] == pytest.approx(written, rel=1e-6)


def test_a_bad_reading_and_one_that_can_not_be_dated_are_written_as_text() -> None:
    early = Reading("a", 82.2, "Cel", 12_000, TimeSource.INSTRUMENT, _NOW_MS)
    bad, undated = parse_pack(
        format_pack([bad_reading("a", "overload", b"OL", _NOW_MS), early]), now_ms=_NOW_MS
    )
    assert bad.reason == "not a number: text 'overload'"
    assert "82.2 Cel" in undated.reason
    assert (undated.value, undated.time_ms) == (None, _NOW_MS)


def test_a_pack_of_nothing_or_of_what_json_can_not_hold_is_not_written() -> None:
    infinite = Reading("a", float("inf"), "Cel", _NOW_MS, TimeSource.INSTRUMENT, _NOW_MS)
    for readings in ([], [infinite]):
        with pytest.raises(FrameError):
            format_pack(readings)


_LABELS = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "boot",
     "seq", "x", "x_"]
)  # fmt: skip
_ANY = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=6)
    | st.sampled_from(["a", "Cel", "hPa", "kg", "north/milk", 26, 10, 1e300, -1e308, 2**28])
)  # fmt: skip
_PACKS = st.lists(st.dictionaries(_LABELS, _ANY, max_size=6), max_size=4)


@given(st.binary(max_size=60) | _PACKS.map(lambda pack: json.dumps(pack).encode()))
def test_only_a_frame_error_leaves_the_parser_and_nothing_the_decoder(data: bytes) -> None:
    decoded = SenmlDecoder().decode(data, channel="a", arrival_ms=_NOW_MS)
    try:
        readings = parse_pack(data, now_ms=_NOW_MS)
    except FrameError as error:
        assert str(error)
        (reading,) = decoded
        assert (reading.series, reading.quality) == ("a", Quality.BAD)
        return
    assert decoded == readings
    for reading in readings:
        assert (reading.value is None) == (reading.quality is Quality.BAD)
        assert 0 <= reading.time_ms < 2**53
        (reading.series + reading.unit + reading.reason).encode("utf-8")
