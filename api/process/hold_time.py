# SPDX-License-Identifier: MIT
"""How long a curve of readings lies inside a band, to the moment of each crossing.

Pure: numpy and the ground only. Knows nothing of verdicts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Floats

Flags = NDArray[np.bool_]
Stretches = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Band:
    """The values that count, either side open.

    Attributes:
        low: Lowest value that counts [degC]; None if there is no lower side.
        high: Highest value that counts [degC]; None if there is no upper side.
    """

    low: float | None
    high: float | None

    def narrowed(self, by_k: float) -> Band:
        """Return the band with both sides moved inward [K]."""
        return Band(
            None if self.low is None else self.low + by_k,
            None if self.high is None else self.high - by_k,
        )


@dataclass(frozen=True, slots=True)
class Segments:
    """A window of time cut at its readings, seen from the window's start.

    Attributes:
        from_s: Start of each piece [s], shape (n,).
        to_s: End of each piece [s], shape (n,); the next piece starts there.
        value: At both ends; NaN where there is no reading [degC], shape (2, n).
        u: Standard uncertainty at both ends [K], shape (2, n).
        is_gap: The piece has no readings that could be joined, shape (n,).
        window_s: Length of the window; the first and the last piece may reach beyond it [s].
    """

    from_s: Floats
    to_s: Floats
    value: Floats
    u: Floats
    is_gap: Flags
    window_s: float

    @property
    def clipped_s(self) -> tuple[Floats, Floats]:
        """Start and end of each piece, cut at the window [s]."""
        return np.clip(self.from_s, 0.0, self.window_s), np.clip(self.to_s, 0.0, self.window_s)


def segments_of(
    time_s: Floats,
    values: tuple[Floats, Floats],
    window_s: float,
    longest_step_s: float,
    breaks_s: Sequence[tuple[float, float]] = (),
) -> Segments:
    """Return a window of time as pieces between neighbouring readings, and gaps.

    Args:
        time_s: Times of the readings from the window's start [s], increasing, shape (n,).
        values: Values [degC] and their standard uncertainties [K], shape (n,) each.
        window_s: Length of the window [s].
        longest_step_s: Neighbours further apart are not joined [s].
        breaks_s: Spans that must not be joined across; readings inside them are left out [s].

    Returns:
        Pieces that cover the window [s].

    Source:
        Definition.
    """
    value, u = values
    usable = np.ones(time_s.size, dtype=bool)
    for low, high in breaks_s:
        usable &= (time_s < low) | (time_s > high)
    time_s, value, u = time_s[usable], value[usable], u[usable]
    first = max(int(np.searchsorted(time_s, 0.0, side="right")) - 1, 0)
    last = int(np.searchsorted(time_s, window_s, side="left")) + 1
    time_s, value, u = time_s[first:last], value[first:last], u[first:last]
    is_gap = np.diff(time_s) > longest_step_s
    for low, high in breaks_s:
        is_gap |= (time_s[:-1] <= high) & (time_s[1:] >= low)
    if time_s.size == 0:
        time_s, value, u = np.array([0.0]), np.array([np.nan]), np.array([np.nan])
    if time_s[0] > 0.0:
        time_s, is_gap = np.r_[0.0, time_s], np.r_[True, is_gap]
        value, u = np.r_[np.nan, value], np.r_[np.nan, u]
    if time_s[-1] < window_s:
        time_s, is_gap = np.r_[time_s, window_s], np.r_[is_gap, True]
        value, u = np.r_[value, np.nan], np.r_[u, np.nan]
    return Segments(
        from_s=time_s[:-1],
        to_s=time_s[1:],
        value=np.stack([value[:-1], value[1:]]),
        u=np.stack([u[:-1], u[1:]]),
        is_gap=np.asarray(is_gap, dtype=bool),
        window_s=window_s,
    )


def stretches_within(
    segments: Segments, band: Band, guard: float, filled: Flags | None = None
) -> Stretches:
    """Return the stretches in which the curve lies inside a band, gaps apart.

    Between two readings the curve is a straight line, and so is its uncertainty; a stretch begins
    and ends exactly where the line crosses the edge of the band.

    Args:
        segments: The window in pieces.
        band: The values that count [degC].
        guard: How many standard uncertainties the value must lie inside; negative lets it lie
            that far outside [-].
        filled: Gaps that are to count as inside, shape (n,); none if left out.

    Returns:
        Start and end of each stretch from the window's start [s], in order.

    Source:
        Linear interpolation (definition).
    """
    enter = np.zeros(segments.from_s.size)
    leave = np.ones(segments.from_s.size)
    with np.errstate(invalid="ignore"):
        if band.low is not None:
            enter, leave = _narrow(segments.value - guard * segments.u - band.low, enter, leave)
        if band.high is not None:
            enter, leave = _narrow(band.high - segments.value - guard * segments.u, enter, leave)
        inside = ~segments.is_gap & (enter <= leave)
    length_s = segments.to_s - segments.from_s
    from_s = np.where(inside, segments.from_s + np.clip(enter, 0.0, 1.0) * length_s, 0.0)
    to_s = np.where(leave >= 1.0, segments.to_s, segments.from_s + np.clip(leave, 0, 1) * length_s)
    if filled is not None:
        from_s = np.where(filled, segments.from_s, from_s)
        to_s = np.where(filled, segments.to_s, to_s)
        inside |= filled
    from_s, to_s = (np.clip(edge, 0.0, segments.window_s) for edge in (from_s, to_s))
    inside &= from_s <= to_s
    from_s, to_s = from_s[inside], to_s[inside]
    if from_s.size == 0:
        return ()
    apart = from_s[1:] > to_s[:-1]
    begins = from_s[np.concatenate(([True], apart))]
    ends = to_s[np.concatenate((apart, [True]))]
    return tuple(zip(begins.tolist(), ends.tolist(), strict=True))


def _narrow(inside_by: Floats, enter: Floats, leave: Floats) -> tuple[Floats, Floats]:
    """Cut each piece to the share of it in which a line through both ends is at least 0."""
    a, b = inside_by
    crossing = a / np.where(a == b, 1.0, a - b)
    entered = np.where(a >= 0.0, 0.0, np.where(b >= 0.0, crossing, np.inf))
    left = np.where(b >= 0.0, 1.0, np.where(a >= 0.0, crossing, -np.inf))
    return np.maximum(enter, entered), np.minimum(leave, left)


def total_s(stretches: Stretches) -> float:
    """Return the time in all stretches together.

    Args:
        stretches: Start and end of each [s].

    Returns:
        Their total length [s].

    Source:
        Definition.
    """
    return float(sum(end - start for start, end in stretches))


def longest_of(stretches: Stretches) -> tuple[float, float]:
    """Return the longest stretch, the first if several are equal.

    Args:
        stretches: Start and end of each [s].

    Returns:
        Its start and end [s]; (0, 0) if there is none.

    Source:
        Definition.
    """
    return max(stretches, key=lambda stretch: stretch[1] - stretch[0], default=(0.0, 0.0))


def reached_s(stretches: Stretches, least_s: float, *, unbroken: bool) -> float | None:
    """Return when the stretches had lasted for a given time.

    Args:
        stretches: Start and end of each [s], in order.
        least_s: The time wanted [s].
        unbroken: It must be one stretch; otherwise stretches add up.

    Returns:
        The moment from the window's start [s]; None if it never was.

    Source:
        Definition.
    """
    before = 0.0
    for start, end in stretches:
        wanted = least_s if unbroken else least_s - before
        if end - start >= wanted - 1e-6:
            return min(start + max(wanted, 0.0), end)
        before += end - start
    return None


def bounds_in_gaps(segments: Segments, steepest_k_per_s: float) -> tuple[Floats, Floats]:
    """Return the lowest and highest value that each piece could hide.

    With no slope steeper than r, a curve from T1 to T2 in a time t can't go below
    (T1 + T2)/2 - r t/2, nor above (T1 + T2)/2 + r t/2. At the edge of a window only one end is
    known, and r t from it is the bound.

    Args:
        segments: The window in pieces.
        steepest_k_per_s: Steepest slope possible [K/s].

    Returns:
        Lowest and highest [degC], shape (n,) each; NaN where there is no reading at either end.

    Source:
        Lipschitz bound (computed).

    Example:
        >>> two = (np.array([85.0, 85.0]), np.zeros(2))
        >>> pieces = segments_of(np.array([0.0, 180.0]), two, 180.0, 30.0)
        >>> float(bounds_in_gaps(pieces, 2.0 / 60.0)[0][0])
        82.0
    """
    a, b = segments.value
    reach = steepest_k_per_s * (segments.to_s - segments.from_s)
    one_end = np.isnan(a) | np.isnan(b)
    middle = np.where(one_end, np.where(np.isnan(a), b, a), 0.5 * (a + b))
    half = np.where(one_end, reach, 0.5 * reach)
    lowest = np.fmin(middle - half, np.fmin(a, b))
    highest = np.fmax(middle + half, np.fmax(a, b))
    return lowest, highest
