# SPDX-License-Identifier: MIT
"""A dip in the milk that may be a pour: it falls at once by more than its trend, and stays down.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.marks_look import Look, line_through
from api.process.pour_score import DROP, NOISE_BELIEF, score
from api.process.pour_search import USUAL_POUR_S, USUAL_SPREAD, Lag, grid, slope_change
from api.process.pour_trend import Candidates, correlated, fit_trend, pour_columns
from api.process.smoothing import middle_of

# Where the milk before a pour is looked for: the end of a stretch, and its length [s before now].
_BASES_S = ((20.0, 25.0), (35.0, 40.0), (55.0, 60.0), (75.0, 60.0), (95.0, 60.0))
_REACH_S, _STEP_S, _LATEST_START_S, _LOOK_S = 42.0, 4.0, -8.0, -260.0
_DURATIONS_S = (5.0, 15.0, 35.0, 75.0)
# Probes whose lag isn't known: quick, usual, and slow in two stages [s].
_UNKNOWN_LAGS_S = ((2.0, 0.8), (10.0, 3.0), (20.0, 10.0))
# How the trend may wander [K/min within a minute], and how long noise lasts [s].
_WANDERS, _MEMORIES_S, _KNOT_S = (0.1, 0.5), (0.0, 4.0), 15.0
_LAST_S, _HELD_S = 8.0, 12.0
# A fall is over when the milk cools by less than this share of the fall's own usual rate.
_OVER_S, _OVER_FRACTION, _OVER_NOISE_PER_S = 20.0, 0.3, 0.04
_LEAST_BEFORE_S, _LEAST_POINTS = 45.0, 12


@dataclass(frozen=True, slots=True)
class Fall:
    """How far the milk has fallen below its earlier trend.

    Attributes:
        base_s: End of the stretch that says so [s before now].
        fall_k: [K].
        over: It falls no more.
    """

    base_s: float
    fall_k: float
    over: bool


@dataclass(frozen=True, slots=True)
class Dip:
    """A dip that may be a pour.

    Attributes:
        start_s: First drop, from now [s].
        end_s: Last drop [s].
        drop_k: Below the trend [K].
        log_odds: Of a pour against none [-].
        trend_k_per_s: Before it [K/s].
        fallen_k: How far the last readings lie below those at the start [K].
        rising_k: How far it has risen again since its lowest [K].
        unrest_k: What the milk fell before in as short a time, trend apart [K].
    """

    start_s: float
    end_s: float
    drop_k: float
    log_odds: float
    trend_k_per_s: float
    fallen_k: float
    rising_k: float
    unrest_k: float


def find_fall(look: Look) -> Fall | None:
    """Return the largest fall below lines through earlier readings, None if it is small.

    Args:
        look: The last minutes of the milk, from the end of the last pour on.

    Returns:
        The fall, None if it is small.

    Source:
        Lines through earlier stretches (least squares); which stretches is ours.
    """
    time_s, value = look.time_s, look.value
    if time_s.size < _LEAST_POINTS or time_s[0] > -_LEAST_BEFORE_S:
        return None
    last = float(look.latest(_LAST_S).mean())
    best, base_s, trend = 0.0, 0.0, 0.0
    for end_s, span_s in _BASES_S:
        base = (time_s <= -end_s) & (time_s > -end_s - span_s)
        if np.count_nonzero(base) < 4:
            continue
        slope, at_end = line_through(time_s[base], value[base], -end_s)
        fall_k = at_end + min(slope, 0.0) * (end_s - _LAST_S / 2.0) - last
        if fall_k > best:
            best, base_s, trend = fall_k, end_s, min(slope, 0.0)
    if best < max(0.15, 2.5 * look.noise_k, 0.9 * look.resolution_k):
        return None
    held = max(int(np.count_nonzero(time_s > -_HELD_S)), 2)
    slope, _ = line_through(time_s[-held:], value[-held:])
    still = trend - slope - _OVER_NOISE_PER_S * look.noise_k
    return Fall(base_s, best, still * max(base_s, _OVER_S) < _OVER_FRACTION * best)


def find_pour(look: Look, lag: Lag, fall: Fall, earliest_s: float) -> Dip | None:
    """Return the dip that explains a fall, if one stands out.

    Args:
        look: The last minutes of the milk.
        lag: Of the probe [s].
        fall: What is to be explained.
        earliest_s: No pour began before this [s before now].

    Returns:
        The dip, None if none stands out.

    Source:
        Bayes factor of a drop against a bent trend, noise forgetting itself (definition).
    """
    first_s = max(-fall.base_s - _REACH_S, earliest_s, float(look.time_s[0]) + 15.0)
    last_s = min(-fall.base_s + _REACH_S, _LATEST_START_S)
    found = _stepped(look, lag, np.arange(first_s, last_s + 0.1, _STEP_S))
    if found is None:
        return None
    start_s, duration_s, drop_k, log_odds = found
    if start_s < first_s + 1.0:
        return None  # it began before what is looked at: a bend, and no dip
    before = (look.time_s > start_s - 60.0) & (look.time_s < start_s)
    early = (look.time_s > start_s - 12.0) & (look.time_s < start_s + 10.0)
    last = look.latest(_LAST_S)
    fallen_k = middle_of(look.value[early]) - float(last.mean()) if early.any() else 0.0
    return Dip(
        start_s=start_s,
        end_s=start_s + duration_s,
        drop_k=drop_k,
        log_odds=log_odds,
        trend_k_per_s=line_through(look.time_s[before], look.value[before])[0],
        fallen_k=fallen_k,
        rising_k=float(last[-1] - look.since(start_s).value.min()),
        unrest_k=_unrest(look, start_s),
    )


def _stepped(look: Look, lag: Lag, starts_s: Floats) -> tuple[float, float, float, float] | None:
    """Return start [s], duration [s], drop [K] and log-odds of the likeliest pour."""
    if starts_s.size == 0:
        return None
    pours = _pours(lag, starts_s)
    columns = pour_columns(look.time_s, pours, passing=False)
    value = look.value - float(np.mean(look.value))
    knots = np.arange(look.time_s[0] + 6.0, look.time_s[-1], _KNOT_S)
    spread = np.full(look.time_s.size, look.noise_k)
    belief = pours.log_prior - np.logaddexp.reduce(pours.log_prior)
    best, with_pour, without = (-math.inf, 0, 0.0), -math.inf, -math.inf
    for memory_s in _MEMORIES_S:
        noise = correlated(look.time_s, spread, memory_s)
        whitened, shown = noise.whitened(columns), noise.whitened(value)
        for wander in _WANDERS:
            change = np.full(knots.size, float(slope_change(wander, _KNOT_S)))
            trend = fit_trend(
                look.time_s, shown, noise, (knots, change), lag.time_constant_s or 0.0
            )
            scored = score(trend, whitened, (0.0, 1.0), None)
            likely = np.where(scored.sizes[:, DROP] > 0.0, scored.log_likelihood + belief, -np.inf)
            at = int(np.argmax(likely))
            best = max(best, (float(likely[at]), at, float(scored.sizes[at, DROP])))
            with_pour = max(with_pour, float(np.logaddexp.reduce(likely)))
            bent = float(np.logaddexp.reduce(scored.log_likelihood_without + belief))
            degrees = look.time_s.size - 2 + NOISE_BELIEF
            plain = trend.log_volume - 0.5 * degrees * math.log(trend.unexplained + NOISE_BELIEF)
            without = max(without, bent, plain)
    _, at, drop_k = best
    if drop_k <= 0.0:
        return None
    return float(pours.start_s[at]), float(pours.duration_s[at]), drop_k, with_pour - without


def _pours(lag: Lag, starts_s: Floats) -> Candidates:
    if lag.time_constant_s is None:
        start, duration, which = grid(starts_s, _DURATIONS_S, range(len(_UNKNOWN_LAGS_S)))
        first, second = np.array(_UNKNOWN_LAGS_S)[which.astype(np.int64)].T
    else:
        start, duration = grid(starts_s, _DURATIONS_S)
        first = np.full_like(start, max(lag.time_constant_s, 0.3))
        second = np.full_like(start, 0.05)
    length = np.log(duration / USUAL_POUR_S) / USUAL_SPREAD
    return Candidates(start, duration, first, second, -0.5 * length**2)


def recent(look: Look, earliest_s: float) -> Look:
    """Return the part of a look that may hold a pour: what follows the pour before.

    Args:
        look: The last minutes of the milk.
        earliest_s: End of the pour before, before now [s].

    Returns:
        The part of the look that follows the pour before.

    Source:
        Definition.
    """
    return look.since(max(earliest_s, _LOOK_S))


def _unrest(look: Look, until_s: float) -> float:
    """Return the largest fall within 40 s before a moment, trend apart [K]."""
    before = look.time_s < until_s
    time_s, value = look.time_s[before], look.value[before]
    if time_s.size < 10:
        return 0.0
    slope, level = line_through(time_s, value)
    rest: Floats = value - level - slope * time_s
    earlier = np.searchsorted(time_s, time_s - 40.0).tolist()
    highest = np.array([rest[a : b + 1].max() for b, a in enumerate(earlier)])
    return float(np.max(highest - rest))
