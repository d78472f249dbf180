# SPDX-License-Identifier: MIT
"""A smooth temperature seen through a slow probe, with a pour in it: the linear algebra.

The true temperature is a line whose slope wanders (a random walk of the slope, with a knot every
few seconds); a pour adds a drop spread evenly over its duration, a change of slope at its end, and
something that passes while the slurry mixes in. All of it goes through a first-order lag. Pure:
numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Floats

# How much later slurry reaches the probe at least, and how much later where it mixes in slowly.
MIXED_IN_S, MIXING_S = 2.0, 5.0


@dataclass(frozen=True, slots=True)
class Candidates:
    """Pours that could have been, arrays of shape (c,).

    Attributes:
        start_s: First drop, from the mark [s].
        duration_s: How long it was poured [s].
        lag_s: Time constant of the probe [s].
        second_lag_s: A second one after it [s].
        log_prior: Logarithm of how much each is believed beforehand, up to a constant [-].
    """

    start_s: Floats
    duration_s: Floats
    lag_s: Floats
    second_lag_s: Floats
    log_prior: Floats

    def those(self, chosen: NDArray[np.intp]) -> Candidates:
        """Return some of them, by index."""
        return Candidates(
            self.start_s[chosen],
            self.duration_s[chosen],
            self.lag_s[chosen],
            self.second_lag_s[chosen],
            self.log_prior[chosen],
        )


@dataclass(frozen=True, slots=True)
class Noise:
    """What the readings carry besides the temperature.

    Attributes:
        spread_k: Standard deviation of each reading [K], shape (n,).
        kept: Share of the last reading's noise that is still in the next [-], shape (n,), first 0.
    """

    spread_k: Floats
    kept: Floats

    def whitened(self, columns: Floats) -> Floats:
        """Return readings or columns, shape (n,) or (…, n, c), with noise made independent."""
        if columns.ndim == 1:
            return self.whitened(columns[:, None])[:, 0]
        scaled = columns / self.spread_k[:, None]
        kept = self.kept[1:, None]
        result: Floats = scaled.copy()
        result[..., 1:, :] -= kept * scaled[..., :-1, :]
        result[..., 1:, :] /= np.sqrt(1.0 - kept * kept)
        return result

    @property
    def log_volume(self) -> float:
        """Logarithm of what whitening does to a volume [-]."""
        return float(
            -0.5 * np.sum(np.log1p(-self.kept * self.kept)) - np.sum(np.log(self.spread_k))
        )


def correlated(time_s: Floats, spread_k: Floats, memory_s: float) -> Noise:
    """Return noise that forgets itself over a time.

    Args:
        time_s: Times of the readings [s], shape (n,).
        spread_k: Standard deviation of each [K], shape (n,).
        memory_s: For how long it remembers itself; 0 for independent noise [s].

    Returns:
        What whitens readings and columns [-].

    Source:
        Autocorrelation exp(-t/memory) (Ornstein and Uhlenbeck 1930, from memory).
    """
    kept = np.zeros(time_s.size)
    if memory_s > 0:
        kept[1:] = np.exp(-np.diff(time_s) / memory_s)
    return Noise(spread_k, kept)


def lagged_hinge(since_s: Floats, lag_s: Floats | float) -> Floats:
    """Return the answer of a first-order lag to a ramp of slope 1.

    Args:
        since_s: Times since the ramp began; nothing before it [s].
        lag_s: Time constant [s].

    Returns:
        t - tau (1 - exp(-t/tau)), 0 before the ramp [s].

    Source:
        First-order response (definition).
    """
    x = np.maximum(since_s, 0.0)
    lag = np.maximum(lag_s, 1e-6)
    result: Floats = x + lag * np.expm1(-x / lag)
    return result


def pour_columns(time_s: Floats, pours: Candidates, *, passing: bool) -> Floats:
    """Return what 1 K of drop, 1 K/s of slope, and 1 K of what passes add to each reading.

    Args:
        time_s: Times of the readings [s], shape (n,).
        pours: The candidates, c of them.
        passing: Whether the third column is wanted.

    Returns:
        Drop [-], slope [s] and what passes [-]: shape (3, n, c), or (2, n, c) without the third.

    Source:
        Step and ramp response of first-order lags in a row (definition).
    """
    begun = time_s[:, None] - pours.start_s
    over = begun - pours.duration_s
    lag, second = pours.lag_s, pours.second_lag_s
    first, then = lagged_hinge(begun, lag), lagged_hinge(over, lag)
    after = _with_second(then, over, lag, second)
    share = (_with_second(first, begun, lag, second) - after) / pours.duration_s
    if not passing:
        return np.stack([-share, after])
    late = second + MIXING_S
    mixed = _with_second(first, begun, lag, late) - _with_second(then, over, lag, late)
    return np.stack([-share, after, share - mixed / pours.duration_s])


def _with_second(once: Floats, since_s: Floats, lag_s: Floats, second_lag_s: Floats) -> Floats:
    """Return the answer of two lags in a row to a hinge, that of the first one given."""
    near = np.abs(lag_s - second_lag_s) < 0.01 * lag_s
    second = np.where(near, 0.97 * second_lag_s, second_lag_s)
    result: Floats = (lag_s * once - second * lagged_hinge(since_s, second)) / (lag_s - second)
    return result


@dataclass(frozen=True, slots=True)
class Trend:
    """The smooth part, factorised; `basis` gives its columns at any time.

    Attributes:
        knots_s: Where its slope may change [s], shape (m,).
        orthogonal: Orthonormal columns at the readings, shape (n, m + 2).
        triangle: What they are multiplied with, shape (m + 2, m + 2).
        readings: Whitened readings, shape (n,).
        shadow: The readings seen along the columns, shape (m + 2,).
        unexplained: Sum of squares that the trend alone leaves [-].
        log_volume: Its part in the marginal likelihood [-].
    """

    knots_s: Floats
    orthogonal: Floats
    triangle: Floats
    readings: Floats
    shadow: Floats
    unexplained: float
    log_volume: float

    def basis(self, time_s: Floats, lag_s: float = 0.0) -> Floats:
        """Return the columns at some times as a probe of that lag shows them, (k, m + 2)."""
        return trend_basis(time_s, self.knots_s, lag_s)

    def slope_basis(self, time_s: Floats) -> Floats:
        """Return the slope of the columns at some times [1/s], shape (k, m + 2)."""
        changed = (self.knots_s[None, :] < time_s[:, None]).astype(np.float64)
        flat = np.zeros(time_s.size)
        return np.column_stack([flat, flat + 1.0 / 60.0, changed])


def trend_basis(time_s: Floats, knots_s: Floats, lag_s: float) -> Floats:
    """Return level, slope and one hinge for each knot as a slow probe shows them.

    Args:
        time_s: Times [s], shape (k,).
        knots_s: Where the slope may change [s], shape (m,).
        lag_s: Time constant of the probe, 0 for none [s].

    Returns:
        Columns for 1 K of level [-], 1 K/min of slope [min], 1 K/s at each knot [s], (k, m + 2).

    Source:
        Ramp response of a first-order lag (definition).
    """
    since = time_s[:, None] - knots_s[None, :]
    hinges = lagged_hinge(since, lag_s) if lag_s > 0 else np.maximum(since, 0.0)
    return np.column_stack([np.ones_like(time_s), (time_s - lag_s) / 60.0, hinges])


def fit_trend(
    time_s: Floats,
    readings: Floats,
    noise: Noise,
    wander: tuple[Floats, Floats],
    lag_s: float,
) -> Trend:
    """Return the trend fitted to whitened readings.

    Args:
        time_s: Times of the readings [s], shape (n,).
        readings: Whitened readings [-], shape (n,).
        noise: How they were whitened.
        wander: Knots [s] and the standard deviation of the slope's change at each [K/s].
        lag_s: Time constant of the probe, 0 to take the trend as shown [s].

    Returns:
        The factorised trend [-].

    Source:
        Least squares with a normal prior on the changes of slope; QR factorisation (definition).
    """
    knots_s, change = wander
    n, m = time_s.size, knots_s.size
    stacked = np.zeros((n + m, m + 2))
    stacked[:n] = noise.whitened(trend_basis(time_s, knots_s, lag_s))
    stacked[n + np.arange(m), 2 + np.arange(m)] = 1.0 / change
    orthogonal, triangle = np.linalg.qr(stacked)
    shadow = orthogonal[:n].T @ readings
    log_volume = -float(np.sum(np.log(np.abs(np.diag(triangle)))) + np.sum(np.log(change)))
    return Trend(
        knots_s=knots_s,
        orthogonal=orthogonal[:n],
        triangle=triangle,
        readings=readings,
        shadow=shadow,
        unexplained=max(float(readings @ readings - shadow @ shadow), 0.0),
        log_volume=log_volume + noise.log_volume,
    )
