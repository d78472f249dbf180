"""SenML against RFC 8428's own example packs (seen in the author copy of July 2018)."""

from __future__ import annotations

import json

import pytest

from collector.errors import FrameError
from collector.frames.senml import parse_pack
from collector.readings import Quality, Reading, TimeSource

_NOW_MS = 1_772_356_530_000
_WIRE = "urn:dev:ow:10e2073a01080063"


def _parse(pack: object) -> list[Reading]:
    return parse_pack(json.dumps(pack).encode(), now_ms=_NOW_MS)


def _plain(readings: list[Reading]) -> list[tuple[str, str, float, float | None]]:
    return [(r.series, r.unit, r.time_ms / 1000, r.value) for r in readings]


def test_a_single_datapoint() -> None:
    # Section 5.1.1.
    (reading,) = _parse([{"n": _WIRE, "u": "Cel", "v": 23.1}])
    assert (reading.series, reading.unit, reading.value) == (_WIRE, "Cel", 23.1)
    assert (reading.time_ms, reading.time_source) == (_NOW_MS, TimeSource.ARRIVAL)
    assert reading.quality is Quality.GOOD


def test_several_datapoints_that_share_a_base_name() -> None:
    # Section 5.1.2, first example.
    pack = [
        {"bn": f"{_WIRE}:", "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "u": "A", "v": 1.2},
    ]
    now = _NOW_MS / 1000
    assert _plain(_parse(pack)) == [
        (f"{_WIRE}:voltage", "V", now, 120.1),
        (f"{_WIRE}:current", "A", now, 1.2),
    ]


def test_a_version_below_ten_negative_times_and_a_base_unit() -> None:
    # Section 5.1.2, second example; its base time in words is 2010-06-08T18:01:16.001Z. The order
    # is that of section 4.6, the times are computed.
    pack = b"""[
      {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
       "n":"voltage","u":"V","v":120.1},
      {"n":"current","t":-5,"v":1.2}, {"n":"current","t":-4,"v":1.3},
      {"n":"current","t":-3,"v":1.4}, {"n":"current","t":-2,"v":1.5},
      {"n":"current","t":-1,"v":1.6}, {"n":"current","v":1.7}]"""
    readings = parse_pack(pack, now_ms=_NOW_MS)
    name = "urn:dev:ow:10e2073a0108006:"
    assert [(r.series, r.unit, r.time_ms, r.value) for r in readings] == [
        (f"{name}current", "A", 1_276_020_071_001, 1.2),
        (f"{name}current", "A", 1_276_020_072_001, 1.3),
        (f"{name}current", "A", 1_276_020_073_001, 1.4),
        (f"{name}current", "A", 1_276_020_074_001, 1.5),
        (f"{name}current", "A", 1_276_020_075_001, 1.6),
        (f"{name}voltage", "V", 1_276_020_076_001, 120.1),
        (f"{name}current", "A", 1_276_020_076_001, 1.7),
    ]
    assert {r.time_source for r in readings} == {TimeSource.INSTRUMENT}
    # A time before 2020 is kept and marked.
    assert {r.quality for r in readings} == {Quality.SUSPECT}


def test_a_moving_sensor_and_its_resolved_form() -> None:
    # Sections 5.1.3 and 5.1.4; the base time in words is 2011-10-31T13:24:24Z.
    pack = [
        {"bn": _WIRE, "bt": 1.320067464e09, "bu": "%RH", "v": 20},
        {"u": "lon", "v": 24.30621},
        {"u": "lat", "v": 60.07965},
        {"t": 60, "v": 20.3},
        {"u": "lon", "t": 60, "v": 24.30622},
        {"u": "lat", "t": 60, "v": 60.07965},
        {"t": 120, "v": 20.7},
        {"u": "lon", "t": 120, "v": 24.30623},
        {"u": "lat", "t": 120, "v": 60.07966},
        {"u": "%EL", "t": 150, "v": 98},
        {"t": 180, "v": 21.2},
        {"u": "lon", "t": 180, "v": 24.30628},
        {"u": "lat", "t": 180, "v": 60.07967},
    ]
    resolved = [
        ("%RH", 1320067464, 20), ("lon", 1320067464, 24.30621), ("lat", 1320067464, 60.07965),
        ("%RH", 1320067524, 20.3), ("lon", 1320067524, 24.30622), ("lat", 1320067524, 60.07965),
        ("%RH", 1320067584, 20.7), ("lon", 1320067584, 24.30623), ("lat", 1320067584, 60.07966),
        ("%EL", 1320067614, 98),
        ("%RH", 1320067644, 21.2), ("lon", 1320067644, 24.30628), ("lat", 1320067644, 60.07967),
    ]  # fmt: skip
    assert _plain(_parse(pack)) == [(_WIRE, unit, at, value) for unit, at, value in resolved]


def test_text_and_data_are_kept_as_what_was_said_and_a_boolean_is_0_or_1() -> None:
    # Section 5.1.5; the data are the four bytes 68 69 20 0a (computed).
    pack = [
        {"bn": f"{_WIRE}:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfv-reader", "vd": "aGkgCg"},
    ]
    temp, label, is_open, data = _parse(pack)
    assert (temp.series, temp.value, temp.quality) == (f"{_WIRE}:temp", 23.1, Quality.GOOD)
    assert (label.series, label.reason) == (f"{_WIRE}:label", "not a number: text 'Machine Room'")
    assert (is_open.series, is_open.value, is_open.unit) == (f"{_WIRE}:open", 0.0, "")
    assert is_open.quality is Quality.GOOD
    assert data.series == f"{_WIRE}:nfv-reader"
    assert data.reason == "not a number: 4 bytes of data, 68 69 20 0a"
    for reading in (label, data):
        assert (reading.value, reading.quality) == (None, Quality.BAD)


def test_a_collection_of_resources_keeps_its_base_time_when_the_base_name_changes() -> None:
    # Section 5.1.6; the base time in words is 2011-10-31T16:27:09Z.
    pack = [
        {"bn": "2001:db8::2/", "bt": 1.320078429e09, "n": "temperature", "u": "Cel", "v": 25.2},
        {"n": "humidity", "u": "%RH", "v": 30},
        {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
        {"n": "humidity", "u": "%RH", "v": 67},
    ]
    assert _plain(_parse(pack)) == [
        ("2001:db8::2/temperature", "Cel", 1320078429, 25.2),
        ("2001:db8::2/humidity", "%RH", 1320078429, 30),
        ("2001:db8::1/temperature", "Cel", 1320078429, 12.3),
        ("2001:db8::1/humidity", "%RH", 1320078429, 67),
    ]


def test_a_record_of_base_fields_alone_says_nothing_itself() -> None:
    # Section 5.1.7.
    pack = [
        {"bn": f"{_WIRE}:"},
        {"n": "temp", "u": "Cel", "v": 23.1},
        {"n": "heat", "u": "/", "v": 1},
        {"n": "fan", "u": "/", "v": 0},
    ]
    now = _NOW_MS / 1000
    assert _plain(_parse(pack)) == [
        (f"{_WIRE}:temp", "Cel", now, 23.1),
        (f"{_WIRE}:heat", "/", now, 1),
        (f"{_WIRE}:fan", "/", now, 0),
    ]


def test_two_to_the_28_seconds_is_the_first_absolute_time() -> None:
    # Section 4.5.3: 2**28 s is 1978-07-04 21:24:16 UTC (seen); 268435456 s (exact).
    (absolute,) = _parse([{"n": "a", "u": "Cel", "t": 268_435_456, "v": 1}])
    (relative,) = _parse([{"n": "a", "u": "Cel", "t": 268_435_455, "v": 1}])
    assert absolute.time_ms == 268_435_456_000
    assert relative.time_ms == _NOW_MS + 268_435_455_000


def _bad(pack: bytes) -> str:
    with pytest.raises(FrameError) as caught:
        parse_pack(pack, now_ms=_NOW_MS)
    return str(caught.value)


# Each rule with the section that states it, as read in the author copy; the last rows follow from
# JSON itself (RFC 8259, from memory).
@pytest.mark.parametrize(
    ("pack", "part"),
    [
        (b'{"n":"a","v":1}', "not an array"),  # 4.1
        (b"[]", "no record"),  # 11
        (b'[{"n":"a","v":1,"x_":1}]', "record 1: the label 'x_'"),  # 4.4
        (b'[{"n":"a","v":1,"bver":11}]', "bver 11"),  # 4.4
        (b'[{"n":"a","v":1,"bver":42}]', "bver 42"),  # RFC 9100: feature 5 is not understood
        (b'[{"n":"a","v":1,"bver":0}]', "bver 0"),  # 4.4
        (b'[{"n":"a","v":1,"bver":5.5}]', "bver 5.5"),  # 4.4
        (b'[{"n":"a","v":1,"bver":5},{"n":"a","v":1,"bver":6}]', "record 2: versions 5 and 6"),
        (b'[{"n":"a","v":1},{"n":"a","v":1,"bver":26}]', "versions 10 and 26"),  # 4.4
        (b'[{"v":1}]', "the name is empty"),  # 4.5.1
        (b'[{"n":"","v":1}]', "the name is empty"),  # 4.5.1
        (b'[{"n":"a b","v":1}]', "'a b'"),  # 4.5.1
        (b'[{"n":"_a","v":1}]', "'_a'"),  # 4.5.1
        (b'[{"bn":"/","n":"a","v":1}]', "'/a'"),  # 4.5.1
        ('[{"n":"käse","v":1}]'.encode(), "käse"),  # 4.5.1
        (b'[{"n":"a","v":1,"vb":true}]', "v and vb in one record"),  # 4.2
        (b'[{"n":"a","vs":"1","vd":"aGk"}]', "vs and vd in one record"),  # 4.2
        (b'[{"n":"a","u":"Cel"}]', "no value and no sum"),  # 4.2
        (b'[{"bn":"a","n":"b"}]', "no value and no sum"),  # 4.2
        (b"[{}]", "name"),  # 4.2
        (b'[{"n":"a","vd":"aGkgCg=="}]', "vd is not base64url"),  # 4.3
        (b'[{"n":"a","vd":"a+/b"}]', "vd is not base64url"),  # 4.3
        (b'[{"n":"a","vd":"aGkgC"}]', "vd is not base64url"),  # RFC 4648 section 5
        (b'[{"n":"a","v":"1"}]', "v must be a number"),  # table 2
        (b'[{"n":"a","v":true}]', "v must be a number"),  # table 2
        (b'[{"n":"a","v":null}]', "v must be a number"),  # table 2
        (b'[{"n":"a","v":1,"t":"now"}]', "t must be a number"),  # table 2
        (b'[{"n":"a","vb":0}]', "vb must be true or false"),  # table 2
        (b'[{"n":5,"v":1}]', "n must be a string"),  # table 2
        (b'[{"n":"a","v":1,"u":5}]', "u must be a string"),  # table 2
        (b'[{"n":"a","v":1,"bver":true}]', "bver must be a number"),  # table 2
        (b'[{"n":"a","v":1},5]', "record 2: the record is not an object"),  # 5
        (b'[{"n":"a","v":NaN}]', "NaN is not JSON"),
        (b'[{"n":"a","v":-Infinity}]', "Infinity is not JSON"),
        (b'[{"n":"\xff","v":1}]', "byte 7 is not UTF-8"),
        (b'\xef\xbb\xbf[{"n":"a","v":1}]', "not JSON"),
        (b'[{"n":"a","v":1}', "not JSON"),
        (b'[{"n":"a","v":1}] x', "not JSON"),
        (b'[{"n":"a","v":01}]', "not JSON"),
        (b'[{"n":"a","v":1,"v":2}]', "'v' stands twice"),
        (b'[{"n":"a","v":1e999}]', "too large"),
        (b"", "not JSON"),
    ],
)
def test_each_broken_rule_refuses_the_whole_pack_and_names_it(pack: bytes, part: str) -> None:
    assert part in _bad(pack)


def test_a_series_may_not_end_in_checks() -> None:
    # A rule of this project, not of the RFC: the path is taken.
    assert "/checks" in _bad(b'[{"n":"north/milk/checks","v":1}]')


@pytest.mark.parametrize("version", [1, 5, 10])
def test_versions_up_to_ten_are_read(version: int) -> None:
    # Section 4.4: refused only if larger than the version understood.
    (reading,) = _parse([{"bver": version, "n": "a", "u": "Cel", "v": 1}])
    assert reading.quality is Quality.GOOD


def test_an_unknown_label_is_ignored_and_its_record_kept() -> None:
    # Section 4.4.
    (reading,) = _parse([{"n": "a", "u": "Cel", "v": 1, "colour": {"x": [1]}}])
    assert (reading.value, reading.quality) == (1.0, Quality.GOOD)


def test_an_exponent_in_upper_case_is_read() -> None:
    # Section 5: "e" must be lower case when sent; JSON itself lets it be either.
    (reading,) = parse_pack(b'[{"n":"a","u":"Cel","v":8.2E1}]', now_ms=_NOW_MS)
    assert reading.value == 82.0
