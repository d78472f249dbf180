# SPDX-License-Identifier: MIT
"""Whether a dip is an addition: what can be, and what the scale says to it.

Pure: imports only what is pure.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from api.process.marks_addition import Dip, find_fall, find_pour, recent
from api.process.marks_confidence import confidence
from api.process.marks_look import Look, line_through
from api.process.marks_scale import Gain, MassLook, find_gain, is_growing, mass_gain
from api.process.marks_settings import MarkSettings, Proposal
from api.process.marks_state import PotState

# After a pour the milk is left alone for so long at least, or it is the same pour [s].
APART_S = 8.0
STILL_S = 20.0
LEAST_AGE_S = 22.0
LARGEST_DROP_K = 14.0
# A slow probe that is lifted out and put back falls, turns, and takes its time to rise again.
USUAL_DROP_K, LARGE_AGE_S, AGE_LAGS = 6.0, 75.0, 1.5
LEAST_LOG_ODDS = 8.0
LEAST_OVER_UNREST = 1.3
LARGEST_RISE_FRACTION = 0.35
LEAST_WEIGHED_AGE_S, LARGEST_WEIGHED_AGE_S, LATELY_S = 10.0, 80.0, 20.0
# What a share of 1 would cool the milk by, the probe's lag included [K].
LEAST_COOLING_K, LARGEST_COOLING_K = 15.0, 110.0
# Slurry at 0 degC would cool hot milk by so much for each share of it [K]; warmer ones by less.
COOLING_K = 80.0
U_START_S = 5.5
# Milk that still climbs when the pour begins: only near its target, or where it falls far.
CLIMBING_K_PER_S, NEAR_TARGET_K, FAR_K = 0.5 / 60.0, 6.0, 1.5


def addition(
    state: PotState, milk: Look, mass: MassLook | None, settings: MarkSettings
) -> tuple[PotState, Proposal | None]:
    """Return what is known after a look for an addition, and what is proposed.

    Args:
        state: What was known.
        milk: The last minutes of the milk.
        mass: The last minutes of the scale under the pot, None without one.
        settings: What was known beforehand.

    Returns:
        The new state, and the proposal if there is one.

    Source:
        Slurry cools milk by its share times the difference of temperatures (heat balance).
    """
    held = state.plateau_degc is not None and not state.left_plateau
    if not state.hot or state.ladle_s is not None or held:
        return state, None
    if state.additions_s and mass is not None and is_growing(mass):
        state = _prolonged(state, milk.now_s)
    earliest_s = -math.inf
    if state.additions_s:
        earliest_s = state.additions_s[-1][1] + APART_S - milk.now_s
    found = None if mass is None else _weighed(milk, mass, earliest_s)
    if found is None:
        found = _unweighed(milk, mass, settings, earliest_s)
    if found is None:
        return state, None
    start_s, end_s, why = found
    at = milk.now_s + start_s
    said = Proposal(
        kind="addition",
        at=at,
        u_at=U_START_S,
        seen_at=milk.now_s,
        confidence=confidence("addition"),
        why=why,
    )
    done = (*state.additions_s, (at, milk.now_s + end_s))
    return replace(state, additions_s=done, lowest_kg=math.inf), said


def _prolonged(state: PotState, now_s: float) -> PotState:
    """Let a pour that is still weighed last until now."""
    start_s, end_s = state.additions_s[-1]
    if now_s - end_s > STILL_S:
        return state
    return replace(state, additions_s=(*state.additions_s[:-1], (start_s, now_s)))


def _weighed(milk: Look, mass: MassLook, earliest_s: float) -> tuple[float, float, str] | None:
    """Return start, end and words for a pour that the scale saw and the probe felt."""
    found = find_gain(mass, earliest_s)
    if found is None or not -LARGEST_WEIGHED_AGE_S < found[0] < -LEAST_WEIGHED_AGE_S:
        return None
    start_s, gain = found
    before = (milk.time_s > max(start_s - 60.0, earliest_s)) & (milk.time_s < start_s + 2.0)
    if np.count_nonzero(before) < 2:
        return None
    slope, level = line_through(milk.time_s[before], milk.value[before], start_s)
    if np.count_nonzero(before) < 6:
        lately = milk.time_s > -LATELY_S
        slope = line_through(milk.time_s[lately], milk.value[lately])[0]
        level = float(milk.value[before].mean())
    fall_k = level - min(slope, 0.0) * start_s - float(milk.latest(6.0).mean())
    least_k = max(0.15, 2.5 * milk.noise_k, 0.8 * milk.resolution_k)
    if fall_k < least_k or not LEAST_COOLING_K < fall_k / gain.fraction < LARGEST_COOLING_K:
        return None
    share = 100 * gain.fraction
    why = f"The milk fell by {fall_k:.1f} K while the pot grew {share:.1f} % heavier."
    return start_s, -4.0, why


def _unweighed(
    milk: Look, mass: MassLook | None, settings: MarkSettings, earliest_s: float
) -> tuple[float, float, str] | None:
    """Return start, end and words for a pour that the probe alone shows."""
    look = recent(milk, earliest_s)
    fall = find_fall(look)
    if fall is None or not fall.over:
        return None
    dip = find_pour(look, settings.lag("milk"), fall, earliest_s)
    if dip is None or not _can_be(dip, milk, settings) or not _stands(dip, milk, settings):
        return None
    if mass is not None and _missing(dip, mass_gain(mass, dip.start_s, dip.end_s)):
        return None
    why = f"The milk fell by {dip.drop_k:.1f} K below its trend, and stayed there."
    return dip.start_s, dip.end_s, why


def _missing(dip: Dip, gain: Gain | None) -> bool:
    """Tell whether a scale would have weighed so much slurry, and did not."""
    if gain is None:
        return False
    return gain.fraction + 3.0 * gain.u_fraction < 0.5 * dip.drop_k / COOLING_K


def _can_be(dip: Dip, milk: Look, settings: MarkSettings) -> bool:
    lag_s = settings.lag("milk").time_constant_s or 0.0
    least_s = LARGE_AGE_S if dip.drop_k > USUAL_DROP_K else LEAST_AGE_S
    return (
        dip.start_s < -max(least_s, AGE_LAGS * lag_s)
        and dip.rising_k < LARGEST_RISE_FRACTION * dip.drop_k
        and 1.4 * milk.resolution_k < dip.drop_k < LARGEST_DROP_K
        and dip.fallen_k > max(0.2, 2.0 * milk.noise_k, 1.2 * milk.resolution_k)
    )


def _stands(dip: Dip, milk: Look, settings: MarkSettings) -> bool:
    if dip.log_odds < LEAST_LOG_ODDS or dip.drop_k < LEAST_OVER_UNREST * dip.unrest_k:
        return False
    if dip.trend_k_per_s < CLIMBING_K_PER_S:
        return dip.fallen_k > 0.5 * dip.drop_k
    if dip.fallen_k > FAR_K:
        return True
    if settings.target_degc is None or settings.approach == "falling":
        return False
    return abs(float(milk.latest(15.0).mean()) - settings.target_degc) < NEAR_TARGET_K
