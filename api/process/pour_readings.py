# SPDX-License-Identifier: MIT
"""The readings round a pour: window, spikes, and a probe that was lifted out meanwhile.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Curve, Floats
from api.process.smoothing import bin_means, middle_of, noise, smoothing_coefficients

BEFORE_S = 120.0
AFTER_S = 200.0
# A probe put back into the pot warms faster than the pot itself ever does, by at least so much.
_LIFT_RATE_K_PER_S = 0.05
_SETTLED_RATE_K_PER_S = 0.015
_LEAST_LIFT_K = 0.8
_LOOK_S = 8.0
# A pour of a sixth of the milk takes a seventh of its height above the room; a quarter is no pour.
_PLUNGE_FRACTION, _PLUNGE_S, _COOL_ROOM_DEGC = 0.25, 60.0, 15.0
_WOBBLE_BIN_S, _WOBBLE_POINTS = 2.5, 13


@dataclass(frozen=True, slots=True)
class PourReadings:
    """Usable readings round a mark, their times counted from the mark.

    Attributes:
        time_s: From the mark [s], shape (n,), oldest first.
        value: Temperature [degC], shape (n,).
        noise_k: Standard deviation of what is no trend: noise, display, stirring [K].
        lifted: Readings were set aside because the probe was out of the milk.
        spikes: How many single readings were set aside.
    """

    time_s: Floats
    value: Floats
    noise_k: float
    lifted: bool
    spikes: int


def readings_round(curve: Curve, mark_s: float, from_s: float, to_s: float) -> PourReadings:
    """Return the readings of a stretch without spikes and without a lifted probe.

    Args:
        curve: Temperatures of the milk [degC].
        mark_s: What the times are counted from [s since 1970 UTC].
        from_s: First moment of the stretch [s since 1970 UTC].
        to_s: Its end [s since 1970 UTC].

    Returns:
        The usable readings [s, degC]; empty if there are none.

    Source:
        Spikes: more than six scaled median deviations from the median of seven neighbours
        (Hampel 1974, from memory). Lifted probe: a fall followed by a rise that no hob makes;
        limits are ours.
    """
    part = curve.between(from_s, to_s)
    time_s, value = part.time_s - mark_s, part.value
    white = noise(part)
    step = curve.resolution / math.sqrt(12.0)
    single = _spikes(value, curve.resolution, white)
    time_s, value = time_s[~single], value[~single]
    out = _lifted(time_s, value, white, curve.resolution) | _plunged(time_s, value)
    time_s, value = time_s[~out], value[~out]
    return PourReadings(
        time_s=time_s,
        value=value,
        noise_k=max(math.hypot(white, step), _wobble(time_s, value), 0.01),
        lifted=bool(out.any()),
        spikes=int(np.count_nonzero(single)),
    )


def _wobble(time_s: Floats, value: Floats) -> float:
    """Return how far readings stray from a straight line through half a minute of them [K]."""
    _, value = bin_means(time_s, value, _WOBBLE_BIN_S)
    points = _WOBBLE_POINTS
    if value.size < 3 * points:
        return 0.0
    windows = np.lib.stride_tricks.sliding_window_view(value, points)
    weights, _ = smoothing_coefficients(points, 1, points // 2)
    left = np.abs(windows[:, points // 2] - windows @ weights)
    return middle_of(left) / 0.6744897501960817


def _spikes(value: Floats, resolution: float, white: float) -> NDArray[np.bool_]:
    if value.size < 7:
        return np.zeros(value.size, dtype=np.bool_)
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(value, 3, mode="edge"), 7)
    middle = np.partition(windows, 3, axis=1)[:, 3]
    spread = 1.4826 * np.partition(np.abs(windows - middle[:, None]), 3, axis=1)[:, 3]
    limit = np.maximum(6.0 * spread, max(4.0 * resolution, 8.0 * white, 0.3))
    far: NDArray[np.bool_] = np.abs(value - middle) > limit
    return far


def _lifted(time_s: Floats, value: Floats, white: float, resolution: float) -> NDArray[np.bool_]:
    """Return where the probe was out of the milk, or still settling after that."""
    out = np.zeros(value.size, dtype=np.bool_)
    if value.size < 12:
        return out
    ahead = np.searchsorted(time_s, time_s + _LOOK_S).clip(0, value.size - 1)
    span_s = time_s[ahead] - time_s
    known = (span_s >= 3.0) & (span_s < 25.0)
    if not known.any():
        return out
    slope = np.where(known, (value[ahead] - value) / np.maximum(span_s, 1e-9), 0.0)
    usual = max(float(np.quantile(slope[known], 0.8)), 0.0)
    least_k = max(_LEAST_LIFT_K, 8.0 * white, 3.0 * resolution)
    fast = known & (slope > usual + _LIFT_RATE_K_PER_S) & (slope * span_s > 0.4 * least_k)
    rises = np.flatnonzero(fast)
    while rises.size:
        first = int(rises[0])
        settled = np.flatnonzero(slope[first:] <= usual + _SETTLED_RATE_K_PER_S)
        last = first + int(settled[0]) if settled.size else value.size - 1
        end = int(ahead[last])
        _set_aside(time_s, value, (first, end), least_k, out)
        rises = rises[rises > end]
    return out


def _plunged(time_s: Floats, value: Floats) -> NDArray[np.bool_]:
    """Return where the probe has fallen farther than any pour takes it, and what follows."""
    out = np.zeros(value.size, dtype=np.bool_)
    if not value.size:
        return out
    highest = np.maximum.accumulate(value)
    if np.all(highest - value <= _PLUNGE_FRACTION * np.maximum(highest - _COOL_ROOM_DEGC, 20.0)):
        return out
    at = 0
    while at < value.size:
        earlier = int(np.searchsorted(time_s, time_s[at] - _PLUNGE_S))
        top = float(np.max(value[earlier : at + 1]))
        if top - value[at] <= _PLUNGE_FRACTION * max(top - _COOL_ROOM_DEGC, 20.0):
            at += 1
            continue
        level = top - 0.25 * (top - value[at])
        start = earlier + int(np.argmax(value[earlier : at + 1]))
        back = np.flatnonzero(value[at:] >= level)
        end = at + int(back[0]) if back.size else value.size - 1
        settling_s = float(time_s[end] - time_s[at]) if back.size else 0.0
        out |= (time_s > time_s[start] - 2.0) & (time_s <= time_s[end] + min(settling_s, 120.0))
        at = max(end, at) + 1
    return out


def _set_aside(
    time_s: Floats,
    value: Floats,
    rise: tuple[int, int],
    least_k: float,
    out: NDArray[np.bool_],
) -> None:
    first, end = rise
    low = first + int(np.argmin(value[first : end + 1]))
    height = float(np.max(value[low : end + 1]) - value[low])
    earliest = int(np.searchsorted(time_s, time_s[low] - 120.0))
    above = np.flatnonzero(value[earliest:low] >= value[low] + 0.9 * height)
    if height < least_k or not above.size:
        return
    start = earliest + int(above[-1])
    if height / max(float(time_s[low] - time_s[start]), 1.0) < _LIFT_RATE_K_PER_S:
        return
    while start > 0 and _steep(time_s, value, start):
        start -= 1
    settling_s = min(120.0, float(time_s[end] - time_s[low]))
    out |= (time_s >= time_s[start] - 2.0) & (time_s <= time_s[end] + settling_s)


def _steep(time_s: Floats, value: Floats, at: int) -> bool:
    earlier = max(int(np.searchsorted(time_s, time_s[at] - 4.0)), 0)
    earlier = min(earlier, at - 1)
    span_s = float(time_s[at] - time_s[earlier])
    return float(value[earlier] - value[at]) > _LIFT_RATE_K_PER_S * span_s
