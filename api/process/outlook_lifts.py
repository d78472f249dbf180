# SPDX-License-Identifier: MIT
"""What a probe shows that is not the milk: lifted out of it, put into it, and the display's steps.

Pure: numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Curve, Floats

FEWEST_READINGS = 5
# A probe in milk does not move faster than this unless it is lifted or something is poured; it is
# back again within so long (common practice).
LIFT_K_PER_S, RISE_K_PER_S = 0.35, 0.6
LIFTED_AT_MOST_S = 240.0
BACK_WITHIN_K = 1.5
# What stirring does to a probe is smaller than a step for good.
FOR_GOOD_K, _STEP_WITHIN_S, _LIFTED_SHORTLY_S = 6.0, 30.0, 90.0
# A slow probe goes on coming back for a while.
_SETTLES_S = 15.0


def without_lifts(curve: Curve) -> Curve:
    """Return a curve without the times when its probe was out of the milk.

    Args:
        curve: Readings [degC].

    Returns:
        The same without what fell faster than milk can and came back as fast within four minutes;
        what has just fallen so and is not back yet is left out too, and so is all that lies
        before a jump for good [degC].

    Source:
        Definition; the limits are ours (common practice).
    """
    time_s, value = curve.time_s, curve.value
    if value.size < FEWEST_READINGS:
        return curve
    slow = max(3, round(4.0 / max(curve.usual_interval_s, 1e-3)))
    keep, begins, after = np.ones(time_s.size, dtype=bool), 0, 0
    jumps = _jumps(curve, slow)
    rises = jumps[value[jumps + slow] > value[jumps]]
    for i in jumps.tolist():
        if i < after:
            continue
        jump = _jump(time_s, value, (i, slow), rises)
        if jump.lifted:
            after = jump.end
            keep[i + 1 : after] = False
        elif jump.is_large:
            begins = after = i + slow
    keep[:begins] = False
    return Curve(
        time_s[keep], value[keep], curve.u_calibration, curve.resolution,
        curve.time_constant_s, curve.u_time_constant_s, curve.name,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Jump:
    """What came of a fast change: its probe was lifted, until which reading, how large it was."""

    lifted: bool
    end: int
    is_large: bool


def _jump(time_s: Floats, value: Floats, place: tuple[int, int], rises: NDArray[np.int64]) -> _Jump:
    i, slow = place
    until, soon = np.searchsorted(time_s, time_s[i] + np.array([LIFTED_AT_MOST_S, _STEP_WITHIN_S]))
    level = float(np.median(value[max(i - slow, 0) : i + 1]))
    moved = np.abs(value[i + slow : soon] - level)
    is_large = bool(moved.size) and float(np.max(moved)) > FOR_GOOD_K
    if i in rises:
        return _Jump(False, i, is_large)
    back = np.flatnonzero(value[i + slow : until] >= level - BACK_WITHIN_K)
    if not back.size:
        return _Jump(bool(until >= time_s.size) and is_large, time_s.size, is_large)
    end = i + slow + int(back[0])
    shortly = is_large and float(time_s[end] - time_s[i]) < _LIFTED_SHORTLY_S
    lifted = shortly or bool(np.any((rises > i) & (rises < end)))
    return _Jump(lifted, int(np.searchsorted(time_s, time_s[end] + _SETTLES_S)), is_large)


def _jumps(curve: Curve, slow: int) -> NDArray[np.int64]:
    """Return where the curve moves faster than milk can, over `slow` readings."""
    change = curve.value[slow:] - curve.value[:-slow]
    span_s = curve.time_s[slow:] - curve.time_s[:-slow]
    limit = np.where(change < 0, LIFT_K_PER_S, RISE_K_PER_S) * span_s
    size = np.abs(change)
    found: NDArray[np.int64] = np.flatnonzero(
        (size > limit) & (size > 2.0 * curve.resolution + 1.5)
    )
    return found


def step_seen(value: Floats) -> float:
    """Return the display step that readings show, where nobody stated it.

    Args:
        value: Readings, oldest first [degC], shape (n,).

    Returns:
        The smallest difference between unlike readings, 0 unless most of the last 400 occur more
        than once [K].

    Source:
        Definition.
    """
    seen, counts = np.unique(np.round(value[-400:], 4), return_counts=True)
    if seen.size < 3 or int(counts[counts > 1].sum()) < 0.6 * value[-400:].size:
        return 0.0
    return float(np.min(np.diff(seen)))
