# SPDX-License-Identifier: MIT
"""Readings as lines of the line protocol; what no engine would keep is left out. Pure.

An engine may answer 204 to a line that it can't read, and to a number that is none, and drop it
without a word; so all is looked at here, before it is sent. Imports only the ground and the shapes
of the store.

A reading is one line of the measurement `reading` with the tags `series`, `unit`, `quality` and,
where one is configured, `site`; the field `value`, and the time in ms. A reading that turns suspect
later (another value came for its time) arrives again and is a second line beside the first, so
whoever reads the engine takes the worse quality for a series and a time.

Source: InfluxData, "Line protocol", section on special characters (from memory): comma, equals sign
and space are escaped in tags, a line end can't be. Times: signed 64-bit nanoseconds (from memory).
That time 0 is taken for "now", and that a finite value is kept to about 12 digits, was tried on
VictoriaMetrics 1.79.5.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from collector.readings import Quality, Reading
from collector.store.protocol import Arrived

MEASUREMENT = "reading"
EARLIEST_MS = 1
LATEST_MS = (2**63 - 1) // 1_000_000
_ESCAPED = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ "})


@dataclass(frozen=True, slots=True)
class Lines:
    """What is sent of some readings.

    Attributes:
        body: The lines; empty if there are none.
        count: How many.
        left_out: Arrival numbers of the readings that are not among them, in order.
        last: The last reading that is among them, None if none is.
    """

    body: bytes
    count: int
    left_out: tuple[int, ...]
    last: Reading | None


def lines_of(arrived: Sequence[Arrived], site: str | None = None) -> Lines:
    """Return the lines of readings in their order.

    Args:
        arrived: Committed readings.
        site: The tag that tells the sites apart, None for none.

    Returns:
        The lines, and the arrival numbers of readings that can't be sent: bad ones, which have no
        value, and those whose value or time the line protocol can't carry.
    """
    lines: list[str] = []
    left_out: list[int] = []
    last: Reading | None = None
    for each in arrived:
        reading = each.reading
        value = reading.value
        if value is None or _unfit(reading, value):
            left_out.append(each.arrival)
            continue
        head = _head(reading.series, reading.unit, reading.quality, site)
        lines.append(f"{head} value={float(value)!r} {reading.time_ms}")
        last = reading
    return Lines("\n".join(lines).encode(), len(lines), tuple(left_out), last)


def _unfit(reading: Reading, value: float) -> bool:
    return (
        reading.quality is Quality.BAD
        or not math.isfinite(value)
        or not EARLIEST_MS <= reading.time_ms <= LATEST_MS
        or not reading.series
    )


@functools.lru_cache(maxsize=4096)
def _head(series: str, unit: str, quality: Quality, site: str | None) -> str:
    """Return all of a line that stands before its field; tags in the order of their names."""
    tags = {"quality": quality.word, "series": series, "site": site or "", "unit": unit}
    written = [f"{name}={tag(text)}" for name, text in tags.items() if text]
    return ",".join([MEASUREMENT, *written])


def tag(text: str) -> str:
    r"""Return text as the value of a tag.

    What can't be printed, and the backslash, which is no escape at the end of a tag, become "_".

    Example:
        >>> print(tag("Fern Lane, 2=b\n"))
        Fern\ Lane\,\ 2\=b_
    """
    carried = "".join(c if c.isprintable() and c != "\\" else "_" for c in text)
    return carried.translate(_ESCAPED)
