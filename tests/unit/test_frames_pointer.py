"""JSON payloads by pointers: values, units, times, numbering."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.frames.pointer import PointerDecoder
from collector.readings import Quality, Reading, TimeSource

_NOW_MS = 1_772_356_530_000  # 2026-03-01T09:15:30Z


def _one(decoder: PointerDecoder, document: object) -> Reading:
    data = document if isinstance(document, bytes) else json.dumps(document).encode()
    (reading,) = decoder.decode(data, channel="kitchen/south", arrival_ms=_NOW_MS)
    return reading


def _milk(**more: object) -> PointerDecoder:
    return PointerDecoder("/probe/degc", series="south/milk", unit="Cel", **more)  # type: ignore[arg-type]


def test_a_value_is_found_and_dated_on_arrival() -> None:
    reading = _one(_milk(), {"probe": {"degc": 82.2}})
    assert (reading.series, reading.value, reading.unit) == ("south/milk", 82.2, "Cel")
    assert (reading.time_ms, reading.time_source) == (_NOW_MS, TimeSource.ARRIVAL)
    assert reading.quality is Quality.GOOD


def test_a_value_sent_as_text_is_read() -> None:
    assert _one(_milk(), {"probe": {"degc": "82.2"}}).value == 82.2


@pytest.mark.parametrize(
    "document",
    [
        {"probe": {"degc": None}}, {"probe": {"degc": True}}, {"probe": {"degc": "warm"}},
        {"probe": {"degc": [82.2]}}, {"probe": {}}, {}, [], 82.2, b"", b"{", b"\xff",
        b'{"probe": {"degc": NaN}}', b'{"probe": {"degc": 1e999}}',
        b'{"probe": {"degc": 1, "degc": 2}}', b"[" * 100_000,
    ],
)  # fmt: skip
def test_a_payload_without_the_value_is_one_bad_frame(document: object) -> None:
    reading = _one(_milk(), document)
    assert (reading.series, reading.value, reading.quality) == ("kitchen/south", None, Quality.BAD)
    assert reading.reason
    assert reading.frame is not None


def test_the_unit_may_come_from_the_payload() -> None:
    decoder = PointerDecoder("/v", series="south/milk", unit_pointer="/u")
    assert _one(decoder, {"v": 180, "u": "F"}).unit == "degF"
    assert _one(decoder, {"v": 180, "u": 5}).quality is Quality.SUSPECT
    assert _one(decoder, {"v": 180}).quality is Quality.BAD


@pytest.mark.parametrize(
    ("form", "time"),
    [
        ("rfc3339", "2026-03-01T09:15:20.250Z"),
        ("rfc3339", "2026-03-01t10:15:20.250+01:00"),
        ("s", 1_772_356_520.25),
        ("ms", 1_772_356_520_250),
    ],
)
def test_the_instruments_own_time_is_taken_to_the_millisecond(form: str, time: object) -> None:
    reading = _one(_milk(time_pointer="/t", time_form=form), {"probe": {"degc": 82.2}, "t": time})
    assert (reading.time_ms, reading.time_source) == (1_772_356_520_250, TimeSource.INSTRUMENT)
    assert reading.quality is Quality.GOOD


@pytest.mark.parametrize(
    ("form", "time"),
    [
        ("rfc3339", "2026-03-01T09:15:20"), ("rfc3339", "2026-W09-7"), ("rfc3339", 1),
        ("rfc3339", "20260301T091520Z"), ("rfc3339", "2026-03-01T24:00:00Z"),
        ("rfc3339", "1969-12-31T23:59:59Z"), ("s", "1772356520"), ("s", True), ("s", -5),
        ("s", 1e300), ("ms", None),
    ],
)  # fmt: skip
def test_a_time_that_can_not_be_read_leaves_the_value_suspect_at_its_arrival(
    form: str, time: object
) -> None:
    reading = _one(_milk(time_pointer="/t", time_form=form), {"probe": {"degc": 82.2}, "t": time})
    assert (reading.value, reading.time_ms) == (82.2, _NOW_MS)
    assert (reading.quality, reading.time_source) == (Quality.SUSPECT, TimeSource.ARRIVAL)
    assert "arrival" in reading.reason


@pytest.mark.parametrize(
    ("offset_ms", "quality"),
    [(60_000, Quality.GOOD), (60_001, Quality.SUSPECT), (-86_400_000, Quality.GOOD)],
)
def test_a_time_more_than_a_minute_ahead_is_suspect(offset_ms: int, quality: Quality) -> None:
    document = {"probe": {"degc": 82.2}, "t": _NOW_MS + offset_ms}
    reading = _one(_milk(time_pointer="/t", time_form="ms"), document)
    assert (reading.quality, reading.time_ms) == (quality, _NOW_MS + offset_ms)


def test_a_time_before_2020_is_suspect() -> None:
    document = {"probe": {"degc": 82.2}, "t": "2019-12-31T23:59:59.999Z"}
    assert "before 2020" in _one(_milk(time_pointer="/t"), document).reason


def test_boot_id_and_running_number_are_taken() -> None:
    decoder = _milk(boot_pointer="/boot", sequence_pointer="/n")
    reading = _one(decoder, {"probe": {"degc": 82.2}, "boot": "a41f", "n": 17})
    assert (reading.boot, reading.sequence, reading.quality) == ("a41f", 17, Quality.GOOD)


@pytest.mark.parametrize(
    ("boot", "number"), [("", 1), (None, 1), ("a" * 65, 1), ("a", 1.5), ("a", -1), ("a", 2**63)]
)
def test_numbering_that_can_not_be_used_leaves_the_value_suspect(
    boot: object, number: object
) -> None:
    decoder = _milk(boot_pointer="/boot", sequence_pointer="/n")
    reading = _one(decoder, {"probe": {"degc": 82.2}, "boot": boot, "n": number})
    assert (reading.value, reading.quality) == (82.2, Quality.SUSPECT)
    assert (reading.boot, reading.sequence) == (None, None)


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=True) | st.text(max_size=8) | st.integers(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@given(
    data=st.binary(max_size=60)
    | _JSON.map(lambda value: json.dumps(value).encode())
    | st.fixed_dictionaries({"v": _JSON, "t": _JSON, "u": _JSON, "b": _JSON, "n": _JSON}).map(
        lambda value: json.dumps(value).encode()
    ),
    form=st.sampled_from(["rfc3339", "s", "ms"]),
)
def test_no_payload_makes_the_decoder_raise(data: bytes, form: str) -> None:
    decoder = PointerDecoder(
        "/v",
        unit_pointer="/u",
        time_pointer="/t",
        time_form=form,  # type: ignore[arg-type]
        boot_pointer="/b",
        sequence_pointer="/n",
    )
    reading = _one(decoder, data)
    assert (reading.value is None) == (reading.quality is Quality.BAD)
    assert 0 <= reading.time_ms < 2**63
    (reading.reason + reading.unit + (reading.boot or "")).encode("utf-8")
