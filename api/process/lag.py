# SPDX-License-Identifier: MIT
"""What a slow probe would have shown had it been quick: first-order lag undone.

T_true = T + tau dT/dt, with value and slope from local polynomials: two-sided for the record,
one-sided for the live view. Never across a gap. Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Curve, Floats
from api.process.smoothing import (
    local_weights,
    noise,
    smoothing_coefficients,
    stretches,
    usual_run,
)
from collector.errors import ProcessError

FEWEST_POINTS = 5
LONGEST_WINDOW_S = 60.0
_EVEN_SPACING_FRACTION = 0.02


@dataclass(frozen=True, slots=True)
class Unlagged:
    """A curve with the lag of its probe undone.

    Attributes:
        time_s: Times of the readings [s since 1970 UTC], shape (n,).
        value: Corrected temperature; NaN where a gap leaves too few readings [degC], shape (n,).
        u: Standard uncertainty without that of the calibration; NaN likewise [K], shape (n,).
        slope_k_per_s: Slope of the indication; NaN likewise [K/s], shape (n,).
    """

    time_s: Floats
    value: Floats
    u: Floats
    slope_k_per_s: Floats


def unlagged(curve: Curve, window_s: float | None = None) -> Unlagged:
    """Return the curve with the probe's lag undone, each point seen from both sides.

    Args:
        curve: Temperatures of a probe with a known time constant [degC].
        window_s: Length of the window [s]; by default the time constant, at least 10 s, at
            least five readings and at most 60 s.

    Returns:
        Corrected temperatures with their standard uncertainty [degC, K].

    Raises:
        ProcessError: The curve has no time constant, or the window is not above 0.

    Source:
        First-order response tau dT/dt = T_true - T (definition), value and slope by Savitzky and
        Golay 1964 with a quadratic; lack of fit of a cubic passes into the slope as 4/H times
        its root mean square over a window of half-length H (computed).
    """
    return _undo(curve, window_s, two_sided=True)


def unlagged_live(curve: Curve, window_s: float | None = None) -> Unlagged:
    """Return the curve with the probe's lag undone, each point from readings up to it only.

    Args:
        curve: Temperatures of a probe with a known time constant [degC].
        window_s: Length of the window [s]; by default the time constant, at least 10 s, at
            least five readings and at most 60 s.

    Returns:
        Corrected temperatures with their standard uncertainty [degC, K].

    Raises:
        ProcessError: The curve has no time constant, or the window is not above 0.

    Source:
        First-order response tau dT/dt = T_true - T (definition), value and slope by a line
        through the last readings; lack of fit of a parabola passes into the value as 2.2 times
        and into the slope as 13.4/W times its root mean square over a window of length W
        (computed).
    """
    return _undo(curve, window_s, two_sided=False)


def _undo(curve: Curve, window_s: float | None, *, two_sided: bool) -> Unlagged:
    tau = curve.time_constant_s
    if tau is None:
        raise ProcessError(
            "The probe has no time constant, so its lag can't be undone.",
            where=curve.name,
            do="Log a dip check of the probe in this place.",
        )
    if window_s is None:
        window_s = min(max(tau, 10.0), LONGEST_WINDOW_S)
    if not window_s > 0:
        raise ProcessError(
            f"A window of {window_s:g} s is not above 0.", where=curve.name, do="Give seconds."
        )
    n = len(curve)
    result = Unlagged(curve.time_s, *(np.full(n, np.nan) for _ in range(3)))
    sigma, run = noise(curve), usual_run(curve.value)
    for part in stretches(curve):
        _undo_part(curve, part, (window_s, sigma, run), result, two_sided=two_sided)
    return result


def _undo_part(
    curve: Curve,
    part: slice,
    settings: tuple[float, float, float],
    result: Unlagged,
    *,
    two_sided: bool,
) -> None:
    window_s, sigma, run = settings
    time_s, value = curve.time_s[part], curve.value[part]
    n = value.size
    if n < FEWEST_POINTS:
        return
    interval_s = float(time_s[-1] - time_s[0]) / (n - 1)
    points = max(FEWEST_POINTS, round(window_s / interval_s) + 1)
    points = min(points + (1 - points % 2), n)
    index = np.arange(n)
    if two_sided:
        degree, starts = 2, np.clip(index - points // 2, 0, n - points)
    else:
        degree, starts = 1, np.clip(index - points + 1, 0, None)
        # The first readings of a stretch have no window behind them.
        index, starts = index[points - 1 :], starts[points - 1 :]
    weights, slopes = _weights(time_s, starts, index, points, degree)
    windows = np.lib.stride_tricks.sliding_window_view(value, points)[starts]
    tau, u_tau = curve.time_constant_s or 0.0, curve.u_time_constant_s
    level = np.einsum("kp,kp->k", windows, weights)
    slope = np.einsum("kp,kp->k", windows, slopes)
    length_s = interval_s * (points - 1)
    misfit = _misfit(time_s, value, starts, (points, degree), sigma)
    into_value, into_slope = (1.0, 8.0 / length_s) if two_sided else (2.2, 13.4 / length_s)
    gain = np.sqrt(np.sum((weights + tau * slopes) ** 2, axis=1))
    step = curve.resolution / math.sqrt(12.0)
    u_squared = (
        (gain * sigma) ** 2
        + step**2 * (1.0 + np.minimum(run, points) * (tau * np.linalg.norm(slopes, axis=1)) ** 2)
        + (slope * u_tau) ** 2
        + (misfit * (into_value + tau * into_slope)) ** 2
    )
    at = index + part.start
    result.value[at] = level + tau * slope
    result.u[at] = np.sqrt(u_squared)
    result.slope_k_per_s[at] = slope


def _weights(
    time_s: Floats,
    starts: NDArray[np.int64],
    index: NDArray[np.int64],
    points: int,
    degree: int,
) -> tuple[Floats, Floats]:
    steps = np.diff(time_s)
    interval_s = float(np.mean(steps))
    if float(np.max(np.abs(steps - interval_s))) > _EVEN_SPACING_FRACTION * interval_s:
        return local_weights(time_s, starts, points, time_s[index], degree)
    positions = index - starts
    rows = [smoothing_coefficients(points, degree, int(p)) for p in range(points)]
    value = np.stack([row for row, _ in rows])
    slope = np.stack([row for _, row in rows]) / interval_s
    return value[positions], slope[positions]


def _misfit(
    time_s: Floats,
    value: Floats,
    starts: NDArray[np.int64],
    shape: tuple[int, int],
    sigma: float,
) -> Floats:
    """Return how far the readings of each window stray from their polynomial beyond noise."""
    points, degree = shape
    centre_s = time_s[starts] + (time_s[starts + points - 1] - time_s[starts]) / 2
    windows = np.lib.stride_tricks.sliding_window_view(value, points)[starts]
    times = np.lib.stride_tricks.sliding_window_view(time_s, points)[starts] - centre_s[:, None]
    scale = float(np.max(np.abs(times)))
    design = (times / scale)[:, :, None] ** np.arange(degree + 1)
    normal = np.einsum("kpi,kpj->kij", design, design)
    right = np.einsum("kpi,kp->ki", design, windows)
    fitted = np.einsum("kpi,ki->kp", design, np.linalg.solve(normal, right[..., None])[..., 0])
    squares = np.sum((windows - fitted) ** 2, axis=1) / max(points - degree - 1, 1)
    excess: Floats = np.sqrt(np.maximum(squares - sigma**2, 0.0))
    return excess
