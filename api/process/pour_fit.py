# SPDX-License-Identifier: MIT
"""The temperature before and after a pour, by a dip that places it or by the mark alone.

Pure: numpy only.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from api.process.curves import Floats
from api.process.pour_average import PourFit, averaged
from api.process.pour_problem import Case, Problem, character, noise_left, problem_for
from api.process.pour_readings import PourReadings
from api.process.pour_search import Found, Lag, Mark, believed, grid
from api.process.pour_trend import MIXED_IN_S, Candidates

_DURATIONS_S = (3.0, 6.0, 11.0, 19.0, 33.0, 58.0)
_GAP_S = 12.0


def fit_pour(
    readings: PourReadings,
    lag: Lag,
    mark: Mark,
    found: Found,
    expected_k: tuple[float, float] | None,
) -> PourFit | None:
    """Return the temperatures on both sides of a pour that a dip places.

    Args:
        readings: Round the mark [s, degC].
        lag: Of the probe; without a time constant the trend is taken as shown [s].
        mark: What is known of the time [s].
        found: The dip, which stands out [s, K].
        expected_k: Expected drop and its standard deviation [K], None if not known.

    Returns:
        Temperatures and times averaged over all candidates by their likelihood [degC, s]; None
        if no pour fits.

    Source:
        Model averaging over start, duration and lag; linear model with normal priors
        (definition).
    """
    problem = problem_for(readings, found, expected_k)
    few = _cases(problem, lag, mark, found, few=True)
    memory_s, wander = character(problem, few)
    cases = _cases(problem, lag, mark, found, few=False)
    noise = problem.noise(memory_s)
    solved = [
        problem.solve(case, noise.whitened(problem.columns(case)), noise, wander) for case in cases
    ]
    best = max(solved, key=lambda one: float(np.max(one.log_weight)))
    if not np.isfinite(np.max(best.log_weight)):
        return None
    variance, inflation = noise_left(problem, best, memory_s)
    return averaged(problem, solved, variance * inflation, inflation)


def fit_at_mark(readings: PourReadings, lag: Lag, mark: Mark) -> PourFit | None:
    """Return the temperatures on both sides of a mark where no dip places the pour.

    Readings within one standard uncertainty of the mark are left out, since the pour may lie
    among them; the two sides are carried to the mark.

    Args:
        readings: Round the mark [s, degC].
        lag: Of the probe; without a time constant the trend is taken as shown [s].
        mark: What is known of the time [s].

    Returns:
        Temperatures at the mark; the uncertainty of the mark itself is not in their covariance
        [degC]. None with too few readings on either side.

    Source:
        Linear model with normal priors (definition).
    """
    duration_s = 10.0
    outside = np.abs(readings.time_s) > mark.u_s
    outside &= (readings.time_s > -120.0 - mark.u_s) & (readings.time_s < 150.0 + mark.u_s)
    time_s, value = readings.time_s[outside], readings.value[outside]
    if min(np.count_nonzero(time_s < 0), np.count_nonzero(time_s > 0)) < 4:
        return None
    kept = PourReadings(time_s, value, readings.noise_k, readings.lifted, readings.spikes)
    guess = Found(False, 0.0, -duration_s / 2, duration_s, lag.time_constant_s or 8.0, 0.0)
    problem = problem_for(kept, guess, None)
    lag_s = lag.time_constant_s or 8.0
    one = np.ones(1)
    pour = Candidates(
        -duration_s / 2 * one, duration_s * one, lag_s * one, MIXED_IN_S * one, np.zeros(1)
    )
    case = Case(lag.in_trend_s, pour)
    memory_s, wander = character(problem, [case], any_sign=True)
    noise = problem.noise(memory_s)
    solved = problem.solve(case, noise.whitened(problem.columns(case)), noise, wander)
    variance, inflation = noise_left(problem, solved, memory_s)
    solved = replace(solved, log_weight=np.zeros(1))
    return averaged(problem, [solved], variance * inflation, 1.0)


def _cases(problem: Problem, lag: Lag, mark: Mark, found: Found, *, few: bool) -> list[Case]:
    if few:
        starts = np.arange(found.start_s - 6.0, found.start_s + 6.1, 3.0)
        durations: tuple[float, ...] = (4.0, 10.0, 20.0)
    else:
        starts, durations = _starts(problem.time_s, found), _DURATIONS_S
    if lag.time_constant_s is None:
        ratios = (0.6, 1.0, 1.6) if few else (0.35, 0.6, 1.0, 1.6, 2.6)
        lags = np.clip(np.array(ratios) * found.lag_s, 1.0, 60.0)
        start, duration, first = grid(starts, durations, lags)
        prior = believed(start, duration, mark)
        return [Case(0.0, Candidates(start, duration, first, 0.3 * first, prior))]
    start, duration = grid(starts, durations)
    prior = believed(start, duration, mark)
    steps = (0.0,) if few or lag.u_s <= 0 else (-1.25, 0.0, 1.25)
    cases = []
    for step in steps:
        lag_s = max(lag.time_constant_s + step * lag.u_s, 0.3)
        first, second = np.full_like(start, lag_s), np.full_like(start, MIXED_IN_S)
        pours = Candidates(start, duration, first, second, prior - 0.5 * step**2)
        cases.append(Case(lag_s, pours))
    return cases


def _starts(time_s: Floats, found: Found) -> Floats:
    """Return starts round the dip; where a gap lies there, all through the gap."""
    low, high = found.start_s - 14.0, found.start_s + 12.0
    gaps = np.diff(time_s)
    for at in np.flatnonzero(gaps > max(_GAP_S, 3.0 * float(np.median(gaps)))):
        if time_s[at] < high + found.duration_s and time_s[at + 1] > low:
            low, high = min(low, float(time_s[at]) - 5.0), max(high, float(time_s[at + 1]) + 3.0)
    return np.linspace(low, high, min(max(round((high - low) / 2.0), 10), 30))
