# SPDX-License-Identifier: MIT
"""What a picture of a curve shows, and the same in words for a reader who can't see it.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from itertools import pairwise

from dashboards import formats, times
from dashboards.formats import Units
from dashboards.svg_axes import usual_interval_ms

GAP_INTERVALS = 3.0
GAP_AT_LEAST_MS = 30_000.0

Point = tuple[float, float | None, str]


@dataclass(frozen=True, slots=True)
class Mark:
    """A vertical line with a word: something that happened [ms since 1970 UTC]."""

    at_ms: float
    label: str


@dataclass(frozen=True, slots=True)
class Band:
    """A hold: a stretch of time and the band to be kept in it; either side may be open.

    Attributes:
        label: Its name.
        verdict: "met", "not met", "not shown" or "running".
        low: Lower side, None if open [degC].
        high: Upper side, None if open [degC].
        from_ms: Where it begins [ms since 1970 UTC].
        to_ms: Where it ends [ms since 1970 UTC].
    """

    label: str
    verdict: str
    low: float | None
    high: float | None
    from_ms: float
    to_ms: float


@dataclass(frozen=True, slots=True)
class Picture:
    """What is to be drawn.

    Attributes:
        title: Its title, for a reader who can't see it too.
        points: Time [ms since 1970 UTC], value [degC or kg] or None, and quality, oldest first.
        quantity: "temperature" or "mass".
        marks: In any order.
        bands: In any order.
        target: A line across, None without one [degC].
        units: The reader's.
        zone: The kitchen's.
        width: [px]
        height: [px]
        key: Sets the ids inside apart from those of other pictures of the page.
    """

    title: str
    points: Sequence[Point]
    quantity: str = "temperature"
    marks: Sequence[Mark] = ()
    bands: Sequence[Band] = ()
    target: float | None = None
    units: Units = field(default_factory=Units)
    zone: tzinfo = UTC
    width: float = 960.0
    height: float = 380.0
    key: str = "curve"


def usable(points: Sequence[Point]) -> list[tuple[float, float]]:
    """Return times and values of the good readings [ms since 1970 UTC; degC or kg]."""
    return [(time, value) for time, value, how in points if value is not None and how == "good"]


def described(picture: Picture) -> str:
    """Return the curve in words, for a reader who can't see it."""
    good = usable(picture.points)
    if not good:
        return "No usable reading."
    shown = wording(picture)
    first, last = (times.from_milliseconds(good[i][0]) for i in (0, -1))
    values = [value for _, value in good]
    words = [
        f"From {times.clock(first, picture.zone)} to {times.clock(last, picture.zone)}, "
        f"lowest {shown(min(values))}, highest {shown(max(values))}."
    ]
    gaps = gaps_ms([time for time, _ in good])
    if gaps:
        longest = max(end - start for start, end in gaps)
        count = "One gap" if len(gaps) == 1 else f"{len(gaps)} gaps"
        words.append(f"{count}, the longest {times.duration(longest / 1000.0)}.")
    if picture.target is not None:
        words.append(f"Target {shown(picture.target)}.")
    words += [f"{band.label}: {band.verdict}." for band in picture.bands]
    if picture.marks:
        told = ", ".join(
            f"{mark.label} {times.clock(times.from_milliseconds(mark.at_ms), picture.zone)}"
            for mark in sorted(picture.marks, key=lambda mark: mark.at_ms)
        )
        words.append(f"Marks: {told}.")
    return " ".join(words)


def gaps_ms(times_ms: Sequence[float]) -> list[tuple[float, float]]:
    """Return where readings are missing: their last before and the first after [ms].

    A gap is longer than three usual intervals and than 30 s, as for a hold's verdict.
    """
    limit = max(GAP_INTERVALS * usual_interval_ms(times_ms), GAP_AT_LEAST_MS)
    return [(early, late) for early, late in pairwise(times_ms) if late - early > limit]


def wording(picture: Picture) -> Callable[[float], str]:
    """Return what writes a value of this picture with its unit."""
    if picture.quantity == "mass":
        return lambda value: formats.mass(value, picture.units)
    return lambda value: formats.temperature(value, picture.units)
