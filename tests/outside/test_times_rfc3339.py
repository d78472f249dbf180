"""Times against the examples of RFC 3339 section 5.8 (from memory)."""

from __future__ import annotations

import pytest

from collector.errors import FrameError
from collector.frames.instants import rfc3339_ms


@pytest.mark.parametrize(
    ("text", "same"),
    [
        # RFC 3339 section 5.8: equal instants in UTC (from memory).
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.87Z"),
        ("1990-12-31T23:59:60Z", "1990-12-31T15:59:60-08:00"),
        # The grammar of section 5.6 lets T and Z be lower case (from memory).
        ("1985-04-12t23:20:50.52z", "1985-04-12T23:20:50.520Z"),
        ("1985-04-12T23:20:50.52-00:00", "1985-04-12T23:20:50.52Z"),
    ],
)
def test_the_rfcs_equal_times_are_equal(text: str, same: str) -> None:
    assert rfc3339_ms(text) == rfc3339_ms(same)


@pytest.mark.parametrize(
    ("text", "milliseconds"),
    [
        # Computed with `date -u +%s`: 482196050, 662688000.
        ("1985-04-12T23:20:50.52Z", 482_196_050_520),
        ("1990-12-31T23:59:60Z", 662_688_000_000),
        ("1970-01-01T00:00:00Z", 0),
        ("2026-01-01T12:00:00.123456789Z", 1_767_268_800_123),
        ("2026-01-01T12:00:00.9996Z", 1_767_268_801_000),
    ],
)
def test_times_are_milliseconds_since_1970(text: str, milliseconds: int) -> None:
    assert rfc3339_ms(text) == milliseconds


@pytest.mark.parametrize(
    "text",
    ["2026-01-01T12:00:00", "2026-W01-1", "20260101T120000Z", "2026-01-01T12:00:00+0100",
     "2026-01-01T24:00:00Z", "2026-02-29T12:00:00Z", "2026-01-01 12:00:00Z",
     "2026-01-01T12:00Z", "0001-01-01T00:00:00+14:00", "0000-01-01T00:00:00Z", ""],
)  # fmt: skip
def test_what_rfc3339_does_not_allow_is_refused(text: str) -> None:
    with pytest.raises(FrameError):
        rfc3339_ms(text)
