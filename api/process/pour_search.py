# SPDX-License-Identifier: MIT
"""Where in the readings round a mark a dip stands out, if one does.

Pure: numpy only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.pour_readings import PourReadings
from api.process.pour_score import DROP, NOISE_BELIEF, Scored, score
from api.process.pour_trend import (
    MIXED_IN_S,
    Candidates,
    correlated,
    fit_trend,
    pour_columns,
)
from api.process.smoothing import bin_means

# A mark may be so many of its standard uncertainties off.
REACH = 3.0
# A dip stands out where the odds of a pour against none are above e^5, the drop is four of its own
# standard deviations and twice the noise, and at least 0.08 K. In simulated pots without a pour
# (stirred, lids moved, hobs switched, lags of 2 to 25 s) that calls one in twenty-five a pour; of
# drops of 1 K it misses one in thirty, of 0.5 K half.
LEAST_LOG_ODDS = 5.0
LEAST_SIGNIFICANCE = 4.0
LEAST_OVER_NOISE = 2.0
LEAST_DROP_K = 0.08
# Most are poured within 5 to 30 s (common practice).
USUAL_POUR_S, USUAL_SPREAD = 12.0, 0.9
_BIN_S = 2.5
_KNOT_S = 15.0
_STEP_S = 4.0
_MEMORIES_S = (0.0, 4.0)
_WANDERS = (0.1, 0.6)
# Probes whose lag isn't known: quick, usual, and slow in two stages [s].
_UNKNOWN_LAGS_S = ((4.0, 0.8), (14.0, 4.0), (20.0, 18.0))


@dataclass(frozen=True, slots=True)
class Lag:
    """What is known of the probe's lag.

    Attributes:
        time_constant_s: None if no dip check gave one [s].
        u_s: Its standard uncertainty [s].
    """

    time_constant_s: float | None
    u_s: float

    @property
    def in_trend_s(self) -> float:
        """With which lag the trend is fitted: 0 leaves it as shown [s]."""
        return self.time_constant_s or 0.0


@dataclass(frozen=True, slots=True)
class Mark:
    """What is known of when the pour was.

    Attributes:
        u_s: Standard uncertainty of the mark, which is at time 0 [s].
        earliest_s: No pour starts before this [s].
        latest_s: No pour ends after this [s].
        latest_start_s: No pour starts after this [s].
    """

    u_s: float
    earliest_s: float = -math.inf
    latest_s: float = math.inf
    latest_start_s: float = math.inf


@dataclass(frozen=True, slots=True)
class Found:
    """The dip that stands out most.

    Attributes:
        stands_out: It can place the pour.
        log_odds: Logarithm of the odds of a pour against none [-].
        start_s: Its start, from the mark [s].
        duration_s: [s].
        lag_s: Of the probe as its shape shows it, or as known [s].
        drop_k: [K].
    """

    stands_out: bool
    log_odds: float
    start_s: float
    duration_s: float
    lag_s: float
    drop_k: float


def slope_change(per_min: float | Floats, knot_s: float) -> Floats:
    """Return how far a slope wanders between knots.

    Args:
        per_min: By how much within a minute, one standard deviation [K/min].
        knot_s: Distance of the knots [s].

    Returns:
        Standard deviation of the change of slope at each knot [K/s].

    Source:
        Random walk: spread grows with the square root of time (definition).
    """
    return np.asarray(per_min, dtype=np.float64) / 60.0 * math.sqrt(knot_s / 60.0)


def believed(start_s: Floats, duration_s: Floats, mark: Mark) -> Floats:
    """Return how much pours are believed from mark and duration alone, as a logarithm.

    Args:
        start_s: Starts, from the mark [s].
        duration_s: Durations [s].
        mark: What is known of the time.

    Returns:
        Log of a normal density about the mark and of a log-normal one of the duration, minus
        infinity outside the limits [-].

    Source:
        Definition.
    """
    middle = start_s + duration_s / 2
    allowed = (start_s >= mark.earliest_s) & (start_s + duration_s <= mark.latest_s)
    allowed &= start_s <= mark.latest_start_s
    allowed &= np.abs(start_s) <= (REACH + 0.5) * mark.u_s + 15.0
    length = np.log(duration_s / USUAL_POUR_S) / USUAL_SPREAD
    return np.where(allowed, -0.5 * ((middle / mark.u_s) ** 2 + length**2), -np.inf)


def grid(*axes: Sequence[float] | Floats) -> list[Floats]:
    """Return every combination of some axes, one flat array for each axis.

    Args:
        axes: Values along each axis [any unit].

    Returns:
        As many arrays of one length [unit of each axis].

    Source:
        Definition.
    """
    mesh = np.meshgrid(*(np.asarray(axis, dtype=np.float64) for axis in axes), indexing="ij")
    return [one.ravel() for one in mesh]


def find_dip(
    readings: PourReadings, lag: Lag, mark: Mark, expected_k: tuple[float, float] | None
) -> Found | None:
    """Return the dip that stands out most near a mark.

    Args:
        readings: Round the mark [s, degC].
        lag: Of the probe [s].
        mark: What is known of the time [s].
        expected_k: Expected drop and its standard deviation [K], None if not known.

    Returns:
        The dip, which may not stand out; None where the limits leave no room for a pour [s, K].

    Source:
        Marginal likelihoods with and without a pour (definition); thresholds set by their
        false-alarm rate in simulated pots.
    """
    time_s, value = bin_means(readings.time_s, readings.value, _BIN_S)
    value = value - float(np.mean(value))
    pours = _candidates(lag, mark)
    if pours.start_s.size == 0:
        return None
    columns = pour_columns(time_s, pours, passing=False)
    knots = np.arange(time_s[0] + 6.0, time_s[-1], _KNOT_S)
    spread = np.full(time_s.size, readings.noise_k)
    belief = pours.log_prior - np.logaddexp.reduce(pours.log_prior)
    found: list[tuple[float, int, Scored]] = []
    with_pour, without = [], []
    for memory_s in _MEMORIES_S:
        noise = correlated(time_s, spread, memory_s)
        whitened, shown = noise.whitened(columns), noise.whitened(value)
        for wander in _WANDERS:
            change = np.full(knots.size, float(slope_change(wander, _KNOT_S)))
            trend = fit_trend(time_s, shown, noise, (knots, change), lag.in_trend_s)
            scored = score(trend, whitened, (0.0, 1.0), expected_k)
            likely = np.where(scored.sizes[:, DROP] > 0, scored.log_likelihood + belief, -np.inf)
            best = int(np.argmax(likely))
            found.append((float(likely[best]), best, scored))
            with_pour.append(float(np.logaddexp.reduce(likely)))
            flat = float(np.logaddexp.reduce(scored.log_likelihood_without + belief))
            without.append(max(flat, _no_pour(trend.unexplained, trend.log_volume, time_s.size)))
    _, best, scored = max(found, key=lambda one: one[0])
    return _found(readings, pours, best, scored, max(with_pour) - max(without))


def _found(
    readings: PourReadings, pours: Candidates, best: int, scored: Scored, log_odds: float
) -> Found:
    drop_k = float(scored.sizes[best, DROP])
    least_k = max(
        LEAST_DROP_K,
        LEAST_OVER_NOISE * readings.noise_k,
        LEAST_SIGNIFICANCE * float(scored.drop_spread_k[best]),
    )
    return Found(
        stands_out=log_odds > LEAST_LOG_ODDS and drop_k > least_k,
        log_odds=log_odds,
        start_s=float(pours.start_s[best]),
        duration_s=float(pours.duration_s[best]),
        lag_s=float(pours.lag_s[best]),
        drop_k=drop_k,
    )


def _candidates(lag: Lag, mark: Mark) -> Candidates:
    starts = np.arange(-REACH * mark.u_s, REACH * mark.u_s + 0.1, _STEP_S)
    if lag.time_constant_s is not None:
        start, duration = grid(starts, (4.0, 15.0, 45.0))
        first, second = np.full_like(start, lag.time_constant_s), np.full_like(start, MIXED_IN_S)
    else:
        start, duration, which = grid(starts, (5.0, 30.0), range(len(_UNKNOWN_LAGS_S)))
        first, second = np.array(_UNKNOWN_LAGS_S)[which.astype(np.int64)].T
    pours = Candidates(start, duration, first, second, believed(start, duration, mark))
    return pours.those(np.flatnonzero(np.isfinite(pours.log_prior)))


def _no_pour(unexplained: float, log_volume: float, readings: int) -> float:
    return log_volume - 0.5 * (readings - 2 + NOISE_BELIEF) * math.log(unexplained + NOISE_BELIEF)
