# SPDX-License-Identifier: MIT
"""Which way the milk is going now, and since when: the readings that a forecast may use.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.curves import Curve, Floats
from api.process.outlook_lifts import step_seen, without_lifts
from api.process.quantities import NotShown
from api.process.smoothing import bin_means, noise

BIN_S = 10.0
FEWEST_BINS = 5
MOST_BINS = 80
STALE_AFTER_S = 90.0
# How far back one looks for a direction, and how long nothing new may come before it began.
_WINDOWS_S = (40.0, 80.0, 160.0, 320.0)
_PATIENCE_S, _PATIENCE_FRACTION = 120.0, 0.25
_REACH_BACK_S = 4.0 * 3600.0
_LEAST_SPREAD_K = 0.03
# Weight of what lies above the lower edge of a curve, and rounds to find it.
_LOWER, _ROUNDS = 0.05, 6
# What went by less than this share of the later pace was still before the turn [-].
_CRAWL_FRACTION = 0.45
# Swings below this are no stirring [K]; a hob has come to its heat after so long [s].
_SWING_K, _WARM_UP_S, _AGAINST = 0.15, 90.0, 1.5


@dataclass(frozen=True, slots=True)
class Moving:
    """A stretch in which the milk does nothing but warm, or nothing but cool, up to now.

    Attributes:
        time_s: Middle of each bin, the lag of the probe taken off [s since 1970 UTC], shape (n,).
        value: Means [degC], shape (n,).
        u: Standard deviation of the noise of each mean [K], shape (n,).
        rising: It warms.
        from_s: When it began to [s since 1970 UTC].
        slope_k_per_s: How fast now [K/s].
        u_lag_s: Standard uncertainty of the lag that was taken off [s].
        u_calibration_k: Standard uncertainty common to all readings [K].
        name: Where the readings came from.
    """

    time_s: Floats
    value: Floats
    u: Floats
    rising: bool
    from_s: float
    slope_k_per_s: float
    u_lag_s: float
    u_calibration_k: float
    name: str


# What a probe in milk lags behind where no dip check tells [s] (common practice).
USUAL_LAG_S, U_USUAL_LAG_S = 5.0, 4.0


def moving(curve: Curve, now_s: float) -> Moving | NotShown:
    """Return the stretch in which the milk has gone one way up to now.

    Args:
        curve: Readings of the milk, none of them later than now [degC].
        now_s: The moment from which one looks [s since 1970 UTC].

    Returns:
        The stretch in bins [s, degC], or why the milk isn't on its way anywhere.

    Source:
        Definition: back to where the curve was last as low (or as high) as before; limits are ours.
    """
    curve = without_lifts(curve.between(now_s - _REACH_BACK_S, now_s + 1e-6))
    if len(curve) < FEWEST_BINS:
        return NotShown("too few readings of the milk so far")
    curve = replace(curve, resolution=max(curve.resolution, step_seen(curve.value)))
    silent_s = now_s - float(curve.time_s[-1])
    if silent_s > max(STALE_AFTER_S, 3.0 * curve.usual_interval_s):
        return NotShown(f"no usable reading of the milk for {silent_s:.0f} s")
    spread_k = max(noise(curve), curve.resolution / math.sqrt(12.0), _LEAST_SPREAD_K)
    time_s, value = bin_means(curve.time_s, curve.value, BIN_S)
    rising = _direction(time_s, value, (spread_k, curve.resolution))
    if rising is None:
        return NotShown("the temperature neither rises nor falls")
    start = _start(time_s, value if rising else -value, spread_k)
    if time_s.size - start < FEWEST_BINS:
        return NotShown("the milk has only just turned" if not rising else "the heat has just come")
    return _binned(curve, float(time_s[start]), rising=rising)


def _direction(time_s: Floats, value: Floats, spread: tuple[float, float]) -> bool | None:
    """Return whether it rises (True) or falls (False) now, None if neither shows."""
    spread_k, step_k = spread
    for window_s in _WINDOWS_S:
        near = time_s >= time_s[-1] - window_s
        if int(near.sum()) < 4:
            continue
        slope = float(np.polyfit(time_s[near] - time_s[-1], value[near], 1)[0])
        moved = abs(slope) * float(time_s[-1] - time_s[near][0])
        if moved > max(4.0 * spread_k, 1.2 * step_k, 0.25):
            return slope > 0
    return None


def _start(time_s: Floats, value: Floats, spread_k: float) -> int:
    """Return since when a curve has risen, going back until nothing lower comes."""
    tolerance = max(2.5 * spread_k, 0.15)
    lowest, at = float(value[-1]), value.size - 1
    for i in range(value.size - 1, -1, -1):
        if value[i] < lowest - 0.2 * tolerance:
            lowest, at = float(value[i]), i
        patience_s = max(_PATIENCE_S, _PATIENCE_FRACTION * float(time_s[-1] - time_s[at]))
        if time_s[at] - time_s[i] > patience_s or value[i] > value[-1] + 3.0 * tolerance:
            break
    near = np.flatnonzero(value[at:] <= lowest + tolerance)
    start = at + int(near[-1]) if near.size else at
    return start + _knee(time_s[start:], value[start:], spread_k)


def _knee(time_s: Floats, value: Floats, spread_k: float) -> int:
    """Return where a curve that crawled first begins to go, 0 if it went from the start."""
    if value.size < 3 * FEWEST_BINS:
        return 0
    x = (time_s - time_s[-1]) / (time_s[-1] - time_s[0])
    knees = np.linspace(1, value.size - FEWEST_BINS, min(value.size - FEWEST_BINS, 40))
    rest = value - np.polyval(np.polyfit(x, value, 2), x)
    best, at, plain = float(rest @ rest), 0, float(rest @ rest)
    for knee in knees.astype(np.int64).tolist():
        after, before = np.maximum(x - x[knee], 0.0), np.minimum(x - x[knee], 0.0)
        design = np.column_stack([np.ones_like(x), before, after, after**2])
        sizes = np.linalg.lstsq(design, value, rcond=None)[0]
        rest = value - design @ sizes
        squares = float(rest @ rest)
        usual = (value[-1] - value[knee]) / (x[-1] - x[knee])
        if squares < best and sizes[1] < _CRAWL_FRACTION * usual:
            best, at = squares, knee
    gain = plain - best
    return at if gain > 8.0 * max(best / value.size, spread_k**2) else 0


def _binned(curve: Curve, from_s: float, *, rising: bool) -> Moving:
    part = curve.between(from_s, math.inf)
    width_s = max(4.0, float(part.time_s[-1] - part.time_s[0]) / MOST_BINS)
    time_s, value = bin_means(part.time_s, part.value, width_s)
    per_bin = max(part.time_s.size / time_s.size, 1.0)
    recent = time_s >= time_s[-1] - 60.0
    slope = float(np.polyfit(time_s[recent] - time_s[-1], value[recent], 1)[0]) if (
        int(recent.sum()) > 2
    ) else float((value[-1] - value[0]) / (time_s[-1] - time_s[0]))  # fmt: skip
    # A display step is an error that lasts until the next step.
    lasting = max(1.0, curve.resolution / max(abs(slope), 1e-4) / max(width_s, 1.0))
    step = curve.resolution / math.sqrt(12.0) * math.sqrt(min(lasting, 10.0))
    u = math.hypot(max(noise(curve), 0.01) / math.sqrt(per_bin), step)
    spreads = np.full(time_s.size, u)
    if rising:
        spreads = np.hypot(u, _above(time_s, value, u))
    lag_s, u_lag_s = USUAL_LAG_S, U_USUAL_LAG_S
    if curve.time_constant_s is not None:
        lag_s, u_lag_s = curve.time_constant_s, curve.u_time_constant_s
    return Moving(
        time_s - lag_s, value, spreads, rising, from_s, slope, u_lag_s, curve.u_calibration,
        curve.name or "milk probe",
    )  # fmt: skip


def _above(time_s: Floats, value: Floats, u: float) -> Floats:
    """Return by how much each bin lies above the lower edge of the curve [K].

    Milk on the heat that nobody stirs is hotter where the probe sees what rises from the bottom;
    while it is stirred the probe shows the whole of it.
    """
    none = np.zeros(time_s.size)
    late = time_s - time_s[0] >= min(_WARM_UP_S, 0.3 * float(time_s[-1] - time_s[0]))
    if int(late.sum()) < 9:
        return none
    x, y = time_s[late] - time_s[-1], value[late]
    x = x / -x[0]
    if not _swings(x, y, u):
        return none
    edge = _lower_edge(np.vander(x, 3), y)
    if edge[0] > 0.0:  # milk on a steady heat warms ever more slowly
        edge = np.concatenate([[0.0], _lower_edge(np.vander(x, 2), y)])
    none[late] = _AGAINST * np.maximum(y - np.polyval(edge, x) - u, 0.0)
    return none


def _swings(x: Floats, y: Floats, u: float) -> bool:
    """Return whether a curve goes up and down about its course by more than its noise."""
    left = y - np.polyval(np.polyfit(x, y, 3), x)
    size = float(np.sqrt(np.mean(left**2)))
    turns = int(np.count_nonzero(np.diff(np.sign(left[np.abs(left) > 0.5 * size])) != 0))
    return size > max(2.0 * u, _SWING_K) and turns >= 2


def _lower_edge(design: Floats, y: Floats) -> Floats:
    weight = np.ones(y.size)
    for _ in range(_ROUNDS):
        rows = design * weight[:, None]
        sizes = np.linalg.solve(design.T @ rows, rows.T @ y)
        weight = np.where(y > design @ sizes, _LOWER, 1.0 - _LOWER)
    return np.asarray(sizes, dtype=np.float64)
