# SPDX-License-Identifier: MIT
"""What the last minutes of the probe in the milk show at one moment, without what was no milk.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.curves import Curve, Floats
from api.process.marks_series import display_step
from api.process.pour_readings import readings_round

LOOK_S = 300.0
BIN_S = 2.5
LEAST_READINGS = 4
# Milk between ice and a hard boil; all else is a broken wire.
LOWEST_DEGC, HIGHEST_DEGC = -5.0, 115.0
# No pot moves so fast; a sensor that starts up, loses contact or is put elsewhere does.
_JUMP_K, _JUMP_K_PER_S, _JUMP_GAP_S = 5.0, 1.0, 20.0
_EXCURSION_S = 30.0
# A probe that has said nothing for so long says nothing about now.
_SILENT_S = 25.0


@dataclass(frozen=True, slots=True)
class Look:
    """The last minutes of a probe, seen at one moment.

    Attributes:
        now_s: The moment [s since 1970 UTC].
        time_s: Before that moment, at most 0 [s], shape (n,), oldest first.
        value: Means over 2.5 s, or single readings where they are rarer [degC], shape (n,).
        noise_k: Standard deviation of what is no trend: noise, display, stirring [K].
        resolution_k: Display step, 0 for none [K].
        lifted: Readings were left out because the probe was out of the milk.
    """

    now_s: float
    time_s: Floats
    value: Floats
    noise_k: float
    resolution_k: float
    lifted: bool

    def since(self, from_s: float) -> Look:
        """Return the part from a moment on [s before now, below 0]."""
        first = int(np.searchsorted(self.time_s, from_s))
        return replace(self, time_s=self.time_s[first:], value=self.value[first:])

    def latest(self, span_s: float) -> Floats:
        """Return the values of the last so many seconds [degC], at least the last two."""
        first = int(np.searchsorted(self.time_s, -span_s))
        return self.value[min(first, self.value.size - 2) :]


def look_at(
    time_s: Floats, value: Floats, now_s: float, resolution_k: float | None = None
) -> Look | None:
    """Return what the last five minutes show.

    Args:
        time_s: Times of all readings so far [s since 1970 UTC], strictly increasing, shape (n,).
        value: Readings [degC], shape (n,).
        now_s: Readings after this moment are not looked at [s since 1970 UTC].
        resolution_k: Display step, found in the readings if None [K].

    Returns:
        The look, None where there are too few readings or the probe has fallen silent.

    Source:
        Definition; what no milk can do, and how long an excursion may last, are ours.
    """
    first, last = np.searchsorted(time_s, (now_s - LOOK_S, now_s + 1e-6))
    time_s, value = time_s[first:last] - now_s, value[first:last]
    possible = (value > LOWEST_DEGC) & (value < HIGHEST_DEGC)
    time_s, value = time_s[possible], value[possible]
    if time_s.size < LEAST_READINGS:
        return None
    step_k = display_step(value) if resolution_k is None else resolution_k
    time_s, value = _without_jumps(*binned(time_s, value, BIN_S))
    if time_s.size < LEAST_READINGS or time_s[-1] < -_SILENT_S:
        return None
    clean = readings_round(Curve(time_s, value, resolution=step_k), 0.0, -LOOK_S - 1.0, 1.0)
    if clean.time_s.size < LEAST_READINGS or clean.time_s[-1] < -_SILENT_S:
        return None
    noise_k = max(clean.noise_k, step_k / math.sqrt(12.0))
    return Look(now_s, clean.time_s, clean.value, noise_k, step_k, clean.lifted)


def binned(time_s: Floats, value: Floats, width_s: float) -> tuple[Floats, Floats]:
    """Return means over bins that end now; highest and lowest of four or more are left out.

    Args:
        time_s: Before now, at most 0 [s], shape (n,), oldest first.
        value: Readings [any unit], shape (n,).
        width_s: Width of a bin [s].

    Returns:
        Mean times [s] and mean values [unit of the readings], one for each bin with readings.

    Source:
        Trimmed mean (definition).
    """
    if time_s.size == 0:
        return time_s, value
    bins = np.floor(time_s / width_s)
    starts = np.flatnonzero(np.diff(bins, prepend=bins[0] - 1.0))
    count = np.diff(np.append(starts, bins.size)).astype(np.float64)
    total = np.add.reduceat(value, starts)
    many = count > 3.0
    trimmed = total - np.maximum.reduceat(value, starts) - np.minimum.reduceat(value, starts)
    mean = np.where(many, trimmed / np.maximum(count - 2.0, 1.0), total / count)
    return np.add.reduceat(time_s, starts) / count, mean


def line_through(time_s: Floats, value: Floats, at_s: float = 0.0) -> tuple[float, float]:
    """Return the least-squares line through readings.

    Args:
        time_s: Times [s], shape (n,).
        value: Readings [any unit], shape (n,); with fewer than two the slope is 0.
        at_s: Where the value is wanted [s].

    Returns:
        Slope [unit/s], and value at that time [unit], NaN without readings.

    Source:
        Least squares (definition).

    Example:
        >>> line_through(np.array([-2.0, -1.0, 0.0]), np.array([1.0, 2.0, 3.0]))
        (1.0, 3.0)
    """
    if time_s.size == 0:
        return 0.0, math.nan
    middle_s, middle = float(time_s.mean()), float(value.mean())
    off_s = time_s - middle_s
    square = float(off_s @ off_s)
    slope = float(off_s @ value) / square if square > 0.0 else 0.0
    return slope, middle + slope * (at_s - middle_s)


def _without_jumps(time_s: Floats, value: Floats) -> tuple[Floats, Floats]:
    """Leave out short excursions, and all before a lasting jump up."""
    change, gap_s = np.diff(value), np.diff(time_s)
    abrupt = (np.abs(change) > np.maximum(_JUMP_K, _JUMP_K_PER_S * gap_s)) & (gap_s < _JUMP_GAP_S)
    if not abrupt.any():
        return time_s, value
    kept = np.ones(time_s.size, dtype=bool)
    done = 0
    for jump in (np.flatnonzero(abrupt) + 1).tolist():
        if jump < done:
            continue
        level, height = float(value[jump - 1]), abs(float(value[jump] - value[jump - 1]))
        back = np.flatnonzero(np.abs(value[jump:] - level) < 0.5 * height)
        end = jump + int(back[0]) if back.size else time_s.size
        until_s = float(time_s[end]) if back.size else 0.0
        if until_s - time_s[jump] <= _EXCURSION_S:
            kept[jump:end] = False
            done = end
        elif value[jump] > level:
            kept[:jump] = False
    return time_s[kept], value[kept]
