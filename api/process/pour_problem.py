# SPDX-License-Identifier: MIT
"""A stretch of readings with a pour in it, and its solution for one lag of the trend.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.pour_readings import PourReadings
from api.process.pour_score import DROP, Scored, score
from api.process.pour_search import Found, slope_change
from api.process.pour_trend import (
    Candidates,
    Noise,
    Trend,
    correlated,
    fit_trend,
    pour_columns,
    trend_basis,
)
from api.process.smoothing import bin_means

_BIN_S = 2.0
_KNOT_S = 10.0
_MEMORIES_S = (0.0, 2.5, 7.0)
_WANDERS = (0.03, 0.15, 0.6, 2.0)
# Hobs are switched, lids lifted and put on near a pour: slopes wander at least so much there.
_NEAR_WANDER = 0.4
# Slurry mixes in unevenly: readings meanwhile are trusted to this share of the drop only.
_UNEVEN_FRACTION = 0.04


@dataclass(frozen=True, slots=True)
class Case:
    """One lag of the trend, 0 to take it as shown [s], with its candidates."""

    trend_lag_s: float
    pours: Candidates


@dataclass(frozen=True, slots=True)
class Solved:
    """A case with what came of it."""

    trend_lag_s: float
    trend: Trend
    pours: Candidates
    scored: Scored
    log_weight: Floats


@dataclass(frozen=True, slots=True)
class Problem:
    """Readings and beliefs that all cases share.

    Attributes:
        time_s: From the mark [s], shape (n,).
        value: Readings less their mean [K], shape (n,).
        level_degc: Their mean [degC].
        spread_k: Standard deviation of each [K], shape (n,).
        knots_s: Where the slope may change [s], shape (m,).
        near: 1 for knots near the pour, else 0, shape (m,).
        passing_k: How large what passes is believed to be, and its standard deviation [K].
        expected_k: Expected drop and its standard deviation [K], None if not known.
    """

    time_s: Floats
    value: Floats
    level_degc: float
    spread_k: Floats
    knots_s: Floats
    near: Floats
    passing_k: tuple[float, float]
    expected_k: tuple[float, float] | None

    def columns(self, case: Case) -> Floats:
        """Return what each candidate of a case adds to the readings, noise not whitened.

        Args:
            case: Lag and candidates [s].

        Returns:
            Shape (3, n, c), as `pour_columns`.

        Source:
            As `pour_columns`.
        """
        return pour_columns(self.time_s, case.pours, passing=True)

    def solve(self, case: Case, whitened: Floats, noise: Noise, wander: float) -> Solved:
        """Return the case solved for every candidate.

        Args:
            case: Lag and candidates [s].
            whitened: Its columns, whitened by `noise`.
            noise: What the readings carry [K].
            wander: How far the slope wanders within a minute [K/min].

        Returns:
            Sizes and weights; a pour that warms the milk has none [-].

        Source:
            As `score`.
        """
        change = slope_change(np.maximum(wander, _NEAR_WANDER * self.near), _KNOT_S)
        shown = noise.whitened(self.value)
        trend = fit_trend(self.time_s, shown, noise, (self.knots_s, change), case.trend_lag_s)
        scored = score(trend, whitened, self.passing_k, self.expected_k)
        weight = scored.log_likelihood + case.pours.log_prior
        weight = np.where(scored.sizes[:, DROP] > 0, weight, -np.inf)
        return Solved(case.trend_lag_s, trend, case.pours, scored, weight)

    def noise(self, memory_s: float) -> Noise:
        """Return the noise of the readings for one memory [s].

        Args:
            memory_s: For how long it remembers itself [s].

        Returns:
            What whitens readings and columns [-].

        Source:
            As `correlated`.
        """
        return correlated(self.time_s, self.spread_k, memory_s)


def problem_for(
    readings: PourReadings, found: Found, expected_k: tuple[float, float] | None
) -> Problem:
    """Return the stretch of readings from two minutes before a dip to three after it.

    Args:
        readings: Round the mark [s, degC].
        found: The dip [s, K].
        expected_k: Expected drop and its standard deviation [K], None if not known.

    Returns:
        The readings, thinned to two seconds, and what is believed of them [s, K].

    Source:
        Definition; how far readings are trusted while slurry mixes in is ours.
    """
    start_s, end_s = found.start_s, found.start_s + found.duration_s
    inside = (readings.time_s >= start_s - 130.0) & (readings.time_s <= end_s + 200.0)
    time_s, value = bin_means(readings.time_s[inside], readings.value[inside], _BIN_S)
    level = float(np.mean(value))
    fading_s = 1.5 * (found.lag_s + 5.0)
    uneven = np.where(time_s < start_s - 3.0, 0.0, np.exp(-(time_s - end_s - 5.0) / fading_s))
    uneven = _UNEVEN_FRACTION * found.drop_k * np.minimum(uneven, 1.0)
    knots = np.arange(time_s[0] + 4.0, time_s[-1], _KNOT_S)
    return Problem(
        time_s=time_s,
        value=value - level,
        level_degc=level,
        spread_k=np.hypot(readings.noise_k, uneven),
        knots_s=knots,
        near=((knots > start_s - 70.0) & (knots < end_s + 100.0)).astype(np.float64),
        passing_k=(0.3 * found.drop_k, max(0.5 * found.drop_k, 0.1)),
        expected_k=expected_k,
    )


def character(
    problem: Problem, cases: list[Case], *, any_sign: bool = False
) -> tuple[float, float]:
    """Return for how long the noise remembers itself and how far the slope wanders.

    Args:
        problem: The stretch of readings [s, degC].
        cases: A few cases to judge by.
        any_sign: Whether a drop below 0 is admitted.

    Returns:
        The most likely memory [s] and wander [K/min] of a few.

    Source:
        Largest marginal likelihood (definition).
    """
    best = (-math.inf, _MEMORIES_S[0], _WANDERS[0])
    for case in cases:
        columns = problem.columns(case)
        for memory_s in _MEMORIES_S:
            noise = problem.noise(memory_s)
            whitened = noise.whitened(columns)
            for wander in _WANDERS:
                solved = problem.solve(case, whitened, noise, wander)
                weight = solved.scored.log_likelihood if any_sign else solved.log_weight
                best = max(best, (float(np.logaddexp.reduce(weight)), memory_s, wander))
    return best[1], best[2]


def noise_left(problem: Problem, best: Solved, memory_s: float) -> tuple[float, float]:
    """Return the variance of the whitened residuals, and what their memory adds to it.

    Args:
        problem: The stretch of readings [s, degC].
        best: The case with the best candidate.
        memory_s: Of the noise [s].

    Returns:
        Variance [-] and a factor of at least 1 [-].

    Source:
        Variance of a mean of correlated residuals, 1 + 2 sum of autocorrelations (definition).
    """
    at = int(np.argmax(best.log_weight)) if np.isfinite(best.log_weight).any() else 0
    sizes = best.scored.sizes[at]
    trend = best.trend
    weights = np.linalg.solve(trend.triangle, trend.shadow - best.scored.shadow[:, :, at] @ sizes)
    columns = pour_columns(problem.time_s, best.pours.those(np.array([at])), passing=True)
    fitted = trend_basis(problem.time_s, trend.knots_s, best.trend_lag_s) @ weights
    fitted += np.einsum("anc,a->n", columns, sizes)
    left = problem.noise(memory_s).whitened(problem.value - fitted)
    squares = float(left @ left)
    variance = (squares + 6.0) / max(left.size - 8.0 + 6.0, 6.0)
    inflation = 1.0
    for step in range(1, min(12, left.size // 3)):
        likeness = float(left[step:] @ left[:-step]) / max(squares, 1e-12)
        if likeness < 2.0 / math.sqrt(left.size):
            break
        inflation += 2.0 * likeness
    return max(variance, 0.3), min(inflation, 8.0)
