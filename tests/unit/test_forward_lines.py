"""What is sent of readings, and what is never sent."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from influxdb_client.client.write.point import Point

from collector.forward_lines import LATEST_MS, lines_of, tag
from collector.readings import Quality, Reading, TimeSource, bad_reading
from collector.store.protocol import Arrived

TIME_MS = 1_772_439_300_000


def reading(
    value: float | None = 82.0625,
    *,
    series: str = "north/milk",
    unit: str = "Cel",
    time_ms: int = TIME_MS,
    quality: Quality = Quality.GOOD,
) -> Reading:
    return Reading(series, value, unit, time_ms, TimeSource.INSTRUMENT, time_ms, quality)


def line(one: Reading, site: str | None = None) -> str:
    return lines_of([Arrived(1, one)], site).body.decode()


def test_a_reading_is_a_line_with_series_unit_and_quality() -> None:
    expected = "reading,quality=good,series=north/milk,unit=Cel value=82.0625 1772439300000"
    assert line(reading()) == expected


def test_a_site_is_one_more_tag() -> None:
    assert ",site=Fern\\ Lane,unit=Cel " in line(reading(), "Fern Lane")


def test_a_suspect_reading_is_sent_as_such() -> None:
    assert line(reading(quality=Quality.SUSPECT)).startswith("reading,quality=suspect,")


def test_a_reading_without_a_unit_has_no_unit_tag() -> None:
    assert "unit" not in line(reading(unit=""))


@pytest.mark.parametrize(
    "unsendable",
    [
        reading(None),
        reading(math.nan),
        reading(math.inf),
        reading(-math.inf),
        reading(85.0, quality=Quality.BAD),
        reading(time_ms=0),  # an engine takes 0 for "now"
        reading(time_ms=-1),
        reading(time_ms=LATEST_MS + 1),
        reading(series=""),
        bad_reading("north/milk", "no number in it", b"\xff", TIME_MS),
    ],
)
def test_what_is_no_number_or_has_no_possible_time_is_left_out(unsendable: Reading) -> None:
    lines = lines_of([Arrived(6, reading()), Arrived(7, unsendable), Arrived(9, reading(1.0))])
    assert (lines.count, lines.left_out) == (2, (7,))
    assert len(lines.body.splitlines()) == 2


def test_nothing_sendable_makes_no_line() -> None:
    lines = lines_of([Arrived(7, reading(None))])
    assert (lines.body, lines.count, lines.left_out, lines.last) == (b"", 0, (7,), None)


def test_line_ends_and_backslashes_of_a_unit_can_not_break_a_line() -> None:
    sent = line(reading(unit="kg\nreading value=1 1\r\\"))
    assert sent.count("\n") == sent.count("\r") == sent.count("\\\\") == 0
    assert sent.endswith(r"unit=kg_reading\ value\=1\ 1__ value=82.0625 1772439300000")


NAMES = st.text(st.sampled_from("azAZ09-:./_"), min_size=1, max_size=20)
UNITS = st.text(st.characters(exclude_categories=("C", "Zl", "Zp", "Zs"), exclude_characters="\\"))
VALUES = st.floats(allow_nan=False, allow_infinity=False)


@given(NAMES, UNITS, VALUES, st.integers(1, LATEST_MS))
def test_lines_are_those_that_the_client_library_would_write(
    series: str, unit: str, value: float, time_ms: int
) -> None:
    tags = {"series": series, "unit": unit, "quality": "good"}
    data = {"measurement": "reading", "tags": tags, "fields": {"value": value}, "time": time_ms}
    written = Point.from_dict(data).to_line_protocol()  # a whole number is taken as the time it is
    head, field, time = line(reading(value, series=series, unit=unit, time_ms=time_ms)).rsplit(
        " ", 2
    )
    # It writes whole numbers without their ".0", which says the same.
    assert f"{head} {field.removesuffix('.0')} {time}" == written


@given(st.text(max_size=30))
def test_a_tag_never_holds_what_ends_it(text: str) -> None:
    written = tag(text)
    plain = written.replace("\\,", "").replace("\\=", "").replace("\\ ", "")
    assert not set(plain) & set(",= \\\n\r\t\0")
