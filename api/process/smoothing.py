# SPDX-License-Identifier: MIT
"""Local polynomials: the value and the slope of a curve, and how noise passes into them.

Pure: numpy only.
"""

from __future__ import annotations

import functools
import itertools
import math

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Curve, Floats
from collector.errors import ProcessError

GAP_INTERVALS = 3.0


@functools.lru_cache(maxsize=256)
def _coefficients(points: int, degree: int, position: int) -> tuple[Floats, Floats]:
    steps = np.arange(points, dtype=np.float64) - position
    rows = np.linalg.pinv(np.vander(steps, degree + 1, increasing=True))
    value, slope = rows[0].copy(), rows[1].copy()
    value.flags.writeable = False
    slope.flags.writeable = False
    return value, slope


def smoothing_coefficients(points: int, degree: int, position: int) -> tuple[Floats, Floats]:
    """Return the weights that give value and slope of a least-squares polynomial.

    Args:
        points: Equally spaced readings in the window [-].
        degree: Degree of the polynomial, at least 1 and below `points` [-].
        position: Where in the window the two are wanted, 0 for the oldest reading [-].

    Returns:
        Weights of the value [-] and of the slope [per step], each of shape (points,), oldest
        first; read-only, cached.

    Raises:
        ProcessError: The degree doesn't fit the window, or the position lies outside it.

    Source:
        Savitzky and Golay 1964, Anal. Chem. 36:1627 (from memory; values checked against the
        printed tables and scipy).

    Example:
        >>> value, slope = smoothing_coefficients(5, 2, 2)
        >>> (35 * value).round(9).tolist()
        [-3.0, 12.0, 17.0, 12.0, -3.0]
    """
    if not (1 <= degree < points and 0 <= position < points):
        raise ProcessError(
            f"A polynomial of degree {degree} at position {position} of {points} points.",
            where="smoothing",
            do="Give at least degree + 1 points, and a position inside the window.",
        )
    return _coefficients(points, degree, position)


def stretches(curve: Curve, gap_intervals: float = GAP_INTERVALS) -> list[slice]:
    """Return the parts of a curve that no gap interrupts.

    Args:
        curve: Readings [any unit].
        gap_intervals: What counts as a gap, in usual intervals between readings [-].

    Returns:
        Slices into the curve, oldest first; none for an empty curve [-].

    Source:
        Definition; three intervals are ours.
    """
    if len(curve) < 2:
        return [slice(0, len(curve))] if len(curve) else []
    breaks = np.diff(curve.time_s) > gap_intervals * curve.usual_interval_s
    edges = [0, *(np.flatnonzero(breaks) + 1).tolist(), len(curve)]
    return [slice(low, high) for low, high in itertools.pairwise(edges)]


def noise(curve: Curve) -> float:
    """Return the standard deviation of the independent noise of a curve.

    From third differences, which a smooth curve leaves near zero; a few pours or spikes don't
    move it. Steps of the display that change no reading count as no noise.

    Args:
        curve: Readings [any unit].

    Returns:
        Standard deviation, 0 with fewer than eight readings [unit of the curve].

    Source:
        Median absolute deviation over 0.6745, for third differences over sqrt(20); normal
        distribution (definition).
    """
    if len(curve) < 8:
        return 0.0
    third = np.diff(curve.value, n=3)
    spread = middle_of(np.abs(third))
    if spread == 0.0:
        # Mostly equal readings: the median is blind, the trimmed mean square is not.
        clipped = np.minimum(third * third, np.quantile(third * third, 0.9))
        return math.sqrt(float(np.mean(clipped)) / 20.0)
    return spread / (0.6744897501960817 * math.sqrt(20.0))


def middle_of(value: Floats) -> float:
    """Return the median, without the long way round that numpy's takes for short arrays.

    Args:
        value: No NaN among them [any unit], shape (n,).

    Returns:
        The median, NaN of nothing [unit of the values].

    Source:
        Definition.

    Example:
        >>> middle_of(np.array([3.0, 1.0, 2.0])), middle_of(np.array([4.0, 1.0, 2.0, 3.0]))
        (2.0, 2.5)
    """
    half = value.size // 2
    if value.size == 0:
        return math.nan
    if value.size % 2:
        return float(np.partition(value, half)[half])
    parted = np.partition(value, (half - 1, half))
    return 0.5 * float(parted[half - 1] + parted[half])


def bin_means(time_s: Floats, value: Floats, width_s: float) -> tuple[Floats, Floats]:
    """Return means over bins of time, where readings come faster than the bins are wide.

    Args:
        time_s: Times [s], shape (n,), oldest first.
        value: Readings [any unit], shape (n,).
        width_s: Width of a bin [s].

    Returns:
        Mean times [s] and mean values [unit of the readings]; as given if they are sparse.

    Source:
        Definition.
    """
    if time_s.size < 3 or middle_of(np.diff(time_s)) > 0.7 * width_s:
        return time_s, value
    bins = np.floor((time_s - time_s[0]) / width_s).astype(np.int64)
    _, place, count = np.unique(bins, return_inverse=True, return_counts=True)
    return np.bincount(place, time_s) / count, np.bincount(place, value) / count


def usual_run(value: Floats) -> float:
    """Return how many neighbouring readings show the same value, on average.

    Args:
        value: Readings, oldest first [any unit], shape (n,).

    Returns:
        Readings for each change of the display, at least 1 [-].

    Source:
        Definition.
    """
    if value.size < 2:
        return 1.0
    changes = int(np.count_nonzero(np.diff(value)))
    return float(value.size / (changes + 1))


def local_weights(
    time_s: Floats, starts: NDArray[np.int64], points: int, at_s: Floats, degree: int
) -> tuple[Floats, Floats]:
    """Return weights of value and slope for windows whose readings are not equally spaced.

    Args:
        time_s: Times of the readings [s], shape (n,), oldest first.
        starts: First reading of each window [-], shape (k,).
        points: Readings in each window [-].
        at_s: Where value and slope are wanted in each window [s], shape (k,).
        degree: Degree of the polynomial, 1 or 2 [-].

    Returns:
        Weights of the value [-] and of the slope [1/s], each of shape (k, points).

    Source:
        Least squares on a local polynomial (definition).
    """
    windows = np.lib.stride_tricks.sliding_window_view(time_s, points)[starts]
    distance = windows - at_s[:, None]
    scale = np.maximum(np.abs(distance).max(axis=1, keepdims=True), 1e-12)
    design = (distance / scale)[:, :, None] ** np.arange(degree + 1)
    normal = np.einsum("kpi,kpj->kij", design, design)
    wanted = np.zeros((starts.size, degree + 1, 2))
    wanted[:, 0, 0] = 1.0
    wanted[:, 1, 1] = 1.0 / scale[:, 0]
    solved = np.linalg.solve(normal, wanted)
    weights = np.einsum("kpi,kij->kjp", design, solved)
    return weights[:, 0], weights[:, 1]
