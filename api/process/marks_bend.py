# SPDX-License-Identifier: MIT
"""Where a curve bends: a straight line that takes on another slope, seen through lags.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.pour_search import Lag
from api.process.pour_trend import correlated, lagged_hinge

# Weight of the belief that the noise is as large as said [readings].
NOISE_BELIEF = 6.0
# A probe that is put elsewhere follows within this [s].
STEP_LAGS_S = (2.0, 8.0, 25.0, 80.0)
# Probes whose lag isn't known [s].
PROBE_LAGS_S = (1.5, 5.0, 12.0, 22.0)


@dataclass(frozen=True, slots=True)
class Bends:
    """Bends that could have been, arrays of shape (c,).

    Attributes:
        start_s: When the slope began to change [s].
        lag_s: Time constant of what delays the change [s].
        probe_lag_s: Of the probe, which delays it once more [s].
        log_prior: Logarithm of how much each is believed beforehand, up to a constant [-].
    """

    start_s: Floats
    lag_s: Floats
    probe_lag_s: Floats
    log_prior: Floats


@dataclass(frozen=True, slots=True)
class Bend:
    """The bend that the readings show.

    Attributes:
        at_s: When the slope began to change, mean over all that could have been [s].
        u_s: Its standard deviation [s].
        log_odds: Logarithm of the odds of a bend against a straight line [-].
        before_per_s: Slope before, of the likeliest bend [unit/s].
        after_per_s: Slope in the end [unit/s].
        level: Value at the bend [unit].
        lag_s: Time constant of the likeliest bend, the probe's apart [s].
    """

    at_s: float
    u_s: float
    log_odds: float
    before_per_s: float
    after_per_s: float
    level: float
    lag_s: float


def probe_lags(lag: Lag) -> tuple[tuple[float, float], ...]:
    """Return time constants to try for a probe [s], each with the logarithm of its belief [-].

    Args:
        lag: What is known of it [s].

    Returns:
        Pairs of a time constant [s] and the logarithm of its belief [-].

    Source:
        Time constants of unknown probes cover what cable makers publish for 3 to 6 mm (seen).
    """
    if lag.time_constant_s is not None:
        return ((max(lag.time_constant_s, 0.3), 0.0),)
    return tuple((one, 0.0) for one in PROBE_LAGS_S)


def bends(
    starts_s: Floats, lags_s: tuple[float, ...], probe: tuple[tuple[float, float], ...]
) -> Bends:
    """Return every combination of starts, lags and probes.

    Args:
        starts_s: [s], shape (k,).
        lags_s: Time constants that are all alike believed [s].
        probe: Time constants of the probe [s] with the logarithm of how much each is believed [-].

    Returns:
        The bends, one for each combination.

    Source:
        Definition.
    """
    which = np.arange(len(probe))
    start, lag, index = (
        axis.ravel() for axis in np.meshgrid(starts_s, np.asarray(lags_s), which, indexing="ij")
    )
    table = np.asarray(probe, dtype=np.float64)
    return Bends(start, lag, table[index, 0], table[index, 1])


def find_bend(
    time_s: Floats,
    value: Floats,
    candidates: Bends,
    *,
    noise: tuple[float, float],
    spreads: tuple[float, float],
) -> Bend | None:
    """Return the bend that the readings show, whether or not it stands out.

    Args:
        time_s: Times [s], shape (n,), oldest first.
        value: Readings [any unit], shape (n,).
        candidates: The bends that could have been.
        noise: Standard deviation of each reading [unit], and how long noise lasts [s].
        spreads: How large the slope before, and its change, are believed to be [unit/s].

    Returns:
        The likeliest bend with its odds, None with fewer than five readings.

    Source:
        Marginal likelihood of a linear model with normal beliefs, noise of a first-order
        memory (definition).
    """
    if time_s.size < 5 or candidates.start_s.size == 0:
        return None
    white = correlated(time_s, np.full(time_s.size, noise[0]), noise[1])
    middle = float(time_s[-1])
    shown = white.whitened(value - value[-1])
    base = white.whitened(np.stack([np.ones_like(time_s), time_s - middle], axis=1))
    hinge = white.whitened(_hinges(time_s, candidates))
    beliefs = np.array([1e-6, spreads[0] ** -2, spreads[1] ** -2])
    normal, right = _equations(base, hinge, shown, beliefs)
    total = float(shown @ shown)
    sizes, likely = _solved(normal, right, total, time_s.size)
    likely = likely + candidates.log_prior + 0.5 * math.log(beliefs[2])
    _, flat = _solved(normal[:1, :2, :2], right[:1, :2], total, time_s.size)
    evidence = float(np.logaddexp.reduce(likely - np.logaddexp.reduce(candidates.log_prior)))
    weight = np.exp(likely - likely.max())
    weight /= weight.sum()
    at_s = float(weight @ candidates.start_s)
    best = int(np.argmax(likely))
    level, before, change = (float(one) for one in sizes[best])
    return Bend(
        at_s=at_s,
        u_s=math.sqrt(max(float(weight @ (candidates.start_s - at_s) ** 2), 0.0)),
        log_odds=evidence - float(flat[0]),
        before_per_s=before,
        after_per_s=before + change,
        level=float(value[-1]) + level + before * (at_s - middle),
        lag_s=float(candidates.lag_s[best]),
    )


def find_step(
    time_s: Floats,
    value: Floats,
    starts_s: Floats,
    *,
    noise: tuple[float, float],
    spreads: tuple[float, float],
) -> float:
    """Return the log-odds of a lagged step against a straight line.

    Args:
        time_s: Times [s], shape (n,), oldest first.
        value: Readings [any unit], shape (n,).
        starts_s: When the step could have been [s], shape (k,).
        noise: Standard deviation of each reading [unit], and how long noise lasts [s].
        spreads: How large slope [unit/s] and step [unit] are believed to be.

    Returns:
        Logarithm of the odds [-].

    Source:
        Marginal likelihood of a linear model with normal beliefs (definition).
    """
    starts, lags = (
        axis.ravel() for axis in np.meshgrid(starts_s, np.asarray(STEP_LAGS_S), indexing="ij")
    )
    white = correlated(time_s, np.full(time_s.size, noise[0]), noise[1])
    shown = white.whitened(value - value[-1])
    base = white.whitened(np.stack([np.ones_like(time_s), time_s - time_s[-1]], axis=1))
    step = white.whitened(-np.expm1(-np.maximum(time_s[:, None] - starts, 0.0) / lags))
    beliefs = np.array([1e-6, spreads[0] ** -2, spreads[1] ** -2])
    normal, right = _equations(base, step, shown, beliefs)
    total = float(shown @ shown)
    _, likely = _solved(normal, right, total, time_s.size)
    _, flat = _solved(normal[:1, :2, :2], right[:1, :2], total, time_s.size)
    likely = likely + 0.5 * math.log(beliefs[2])
    return float(np.logaddexp.reduce(likely)) - math.log(likely.size) - float(flat[0])


def _hinges(time_s: Floats, candidates: Bends) -> Floats:
    since = time_s[:, None] - candidates.start_s
    lag, probe = candidates.lag_s, candidates.probe_lag_s
    second = np.where(np.abs(lag - probe) < 0.01 * lag, 0.97 * probe, probe)
    result: Floats = (lag * lagged_hinge(since, lag) - second * lagged_hinge(since, second)) / (
        lag - second
    )
    return result


def _equations(
    base: Floats, hinge: Floats, shown: Floats, beliefs: Floats
) -> tuple[Floats, Floats]:
    count = hinge.shape[1]
    normal = np.empty((count, 3, 3))
    right = np.empty((count, 3))
    normal[:, :2, :2] = base.T @ base
    cross = hinge.T @ base
    normal[:, 2, :2] = cross
    normal[:, :2, 2] = cross
    normal[:, 2, 2] = np.einsum("nc,nc->c", hinge, hinge)
    normal[:, np.arange(3), np.arange(3)] += beliefs
    right[:, :2] = base.T @ shown
    right[:, 2] = hinge.T @ shown
    return normal, right


def _solved(normal: Floats, right: Floats, total: float, readings: int) -> tuple[Floats, Floats]:
    sizes = np.linalg.solve(normal, right[..., None])[..., 0].astype(np.float64)
    left = np.maximum(total - np.einsum("ca,ca->c", right, sizes), 0.0)
    likely = -0.5 * (readings - 1 + NOISE_BELIEF) * np.log(left + NOISE_BELIEF)
    volume: Floats = np.linalg.slogdet(normal)[1]
    return sizes, likely - 0.5 * volume
