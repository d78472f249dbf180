# SPDX-License-Identifier: MIT
"""The milk passes its target: for information, never an order to pour.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.marks_confidence import confidence
from api.process.marks_look import Look, line_through
from api.process.marks_settings import U_PROBE_K, MarkSettings, Proposal
from api.process.marks_state import PotState
from api.process.pour_search import Lag

FIT_S, LAST_S = 40.0, 12.0
# The pot has to have been clear of the target before it can pass it.
CLEAR_K = 0.5
# Past it by so much, or for so long, the moment can't be told any more.
LOST_K, LATEST_S = 1.0, 40.0
LEAST_K_PER_S = 0.1 / 60.0
# Steeper than this milk doesn't cool by itself; that is a pour or a lifted probe.
STEEPEST_FALL_K_PER_S, STEEPEST_RISE_K_PER_S = 5.0 / 60.0, 15.0 / 60.0
# A probe whose lag isn't known [s].
USUAL_LAG_S, U_LAG_S = 6.0, 5.0


@dataclass(frozen=True, slots=True)
class Passing:
    """The target was passed.

    Attributes:
        at_s: When, from now [s].
        u_s: Standard uncertainty of that [s].
        slope_k_per_s: [K/s].
    """

    at_s: float
    u_s: float
    slope_k_per_s: float


def target(state: PotState, milk: Look, settings: MarkSettings) -> tuple[PotState, Proposal | None]:
    """Return what is known after a look at the target, and what is proposed.

    Args:
        state: What was known.
        milk: The last minutes of the milk.
        settings: What was known beforehand.

    Returns:
        The new state, and the proposal if there is one.

    Source:
        What can follow what is common practice.
    """
    goal = settings.target_degc
    if goal is None or state.additions_s or len(state.passed) > 1:
        return state, None
    off_k = float(milk.latest(10.0).mean()) - goal
    side = 0 if abs(off_k) < CLEAR_K else int(math.copysign(1.0, off_k))
    rising = state.side < 0
    wanted = settings.approach in (None, "rising" if rising else "falling")
    if state.side == 0 or not wanted or rising in state.passed or not state.hot:
        return replace(state, side=side or state.side), None
    passing = find_passing(milk, settings.lag("milk"), goal, rising=rising)
    if passing is None:
        lost = side == -state.side and abs(off_k) > LOST_K
        return replace(state, side=side if lost else state.side), None
    slope = abs(passing.slope_k_per_s)
    way = "rising" if rising else "falling"
    u_s = math.hypot(passing.u_s, U_PROBE_K / slope)
    said = Proposal(
        kind="target",
        at=milk.now_s + passing.at_s,
        u_at=u_s,
        seen_at=milk.now_s,
        confidence=confidence("target"),
        why=f"The milk passes {goal:.1f} degC, {way} by {60 * slope:.1f} K/min.",
    )
    return replace(state, side=-state.side, passed=(*state.passed, rising)), said


def find_passing(look: Look, lag: Lag, target_degc: float, *, rising: bool) -> Passing | None:
    """Return when the target was passed, if the milk is past it now.

    Args:
        look: The last minutes of the milk.
        lag: Of the probe [s].
        target_degc: [degC].
        rising: Whether from below.

    Returns:
        The passing, None if the milk isn't past the target or the moment can't be told.

    Source:
        Least squares; a first-order probe lags a ramp by its time constant (definition).
    """
    near = look.since(-FIT_S)
    if near.time_s.size < 4 or near.time_s[0] > -0.5 * FIT_S or _dips(near):
        return None
    slope, level = line_through(near.time_s, near.value)
    sign = 1.0 if rising else -1.0
    behind_s = USUAL_LAG_S if lag.time_constant_s is None else lag.time_constant_s
    now_degc = level + slope * behind_s
    if sign * slope < LEAST_K_PER_S or sign * (now_degc - target_degc) < 0.0:
        return None
    if not -STEEPEST_FALL_K_PER_S < slope < STEEPEST_RISE_K_PER_S:
        return None
    noise_k = max(float(np.std(near.value - level - slope * near.time_s)), look.noise_k)
    u_k = 2.0 * noise_k / math.sqrt(near.time_s.size)
    u_lag_s = U_LAG_S if lag.time_constant_s is None else lag.u_s
    at_s = (target_degc - now_degc) / slope
    if at_s < -LATEST_S:
        return None
    return Passing(
        at_s=at_s,
        u_s=math.hypot(u_k / abs(slope), u_lag_s),
        slope_k_per_s=slope,
    )


def _dips(near: Look) -> bool:
    """Tell whether the last readings fall below the line through those before."""
    earlier = near.time_s < -LAST_S
    if np.count_nonzero(earlier) < 3 or earlier.all():
        return False
    slope, level = line_through(near.time_s[earlier], near.value[earlier])
    last = near.value[~earlier]
    off_k = float(last.mean()) - level - slope * float(near.time_s[~earlier].mean())
    return off_k < -max(0.15, 2.5 * near.noise_k / math.sqrt(last.size))
