from __future__ import annotations

import pytest

from api.times import format_ms, known_ms, parse_ms
from collector.errors import RecordError


@pytest.mark.parametrize(
    "text",
    [
        "",
        "yesterday",
        "2026-03-02T08:15:00",
        "2026-03-02T08:15:00+99:99",
        "\uff12\uff10\uff12\uff16-03-02T08:15:00Z",
        "2026-02-30T08:15:00Z",
        "0000-01-01T00:00:00Z",
    ],
)
def test_what_is_no_time_is_said_with_how_to_write_one(text: str) -> None:
    with pytest.raises(RecordError, match="not a time") as caught:
        parse_ms(text)
    assert "RFC 3339" in caught.value.do


@pytest.mark.parametrize(
    "text",
    [
        "0001-01-01T00:00:00+14:00",
        "0999-01-01T00:00:00Z",
        "1969-12-31T23:59:59.999Z",
        "9999-12-31T23:59:59-23:59",
        "9999-12-31T23:59:60Z",
    ],
)
def test_a_time_that_could_not_be_written_back_is_refused(text: str) -> None:
    with pytest.raises(RecordError):
        parse_ms(text)


def test_the_first_and_the_last_time_are_written_back_as_they_were_read() -> None:
    for text in ("1970-01-01T00:00:00.000Z", "9999-12-31T23:59:59.999Z"):
        assert format_ms(parse_ms(text)) == text


def test_a_space_may_stand_for_the_t_and_around_the_whole() -> None:
    assert parse_ms(" 2026-03-02 08:15:00Z ") == parse_ms("2026-03-02T08:15:00Z")


def test_a_shifted_time_outside_the_years_says_how_far() -> None:
    with pytest.raises(RecordError, match="8030 years from 1970"):
        known_ms(253_402_300_800_000)
