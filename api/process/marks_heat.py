# SPDX-License-Identifier: MIT
"""Heat on: the bend from a steady temperature into a climb.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.marks_bend import Bend, bends, find_bend, find_step, probe_lags
from api.process.marks_confidence import confidence
from api.process.marks_look import Look
from api.process.marks_settings import MarkSettings, Proposal
from api.process.marks_state import PotState
from api.process.pour_search import Lag
from api.process.smoothing import middle_of

# Warming up to the room is slower than this, a hob under any usual pot faster (computed for
# 0.5 to 60 kg).
LEAST_K_PER_S = 0.5 / 60.0
# Faster than this is more likely a probe that was moved than a pot on a hob, until it has gone on.
USUAL_K_PER_S, GONE_ON_K = 12.0 / 60.0, 12.0
LEAST_RISE_K, LEAST_LOG_ODDS = 0.3, 6.0
# From a hob that heats at once to a cast plate [s].
HOB_LAGS_S = (1.0, 6.0, 20.0, 60.0, 150.0)
NOISE_LASTS_S = 4.0
# The wall and the bottom of the pot come first [s].
U_POT_S = 9.0
# A climb of so much was on before anyone looked.
MISSED_K = 25.0
# The climb begins near the coldest milk seen.
WARMED_K = 3.0
_SLOPE_BEFORE, _SLOPE_CHANGE, _STEP_K = 0.2 / 60.0, 5.0 / 60.0, 10.0


@dataclass(frozen=True, slots=True)
class Onset:
    """The climb that the readings show.

    Attributes:
        bend: Where it begins.
        rise_k: How far it has gone [K].
    """

    bend: Bend
    rise_k: float


def heat(state: PotState, milk: Look, settings: MarkSettings) -> tuple[PotState, Proposal | None]:
    """Return what is known after a look for heat on, and what is proposed.

    Args:
        state: What was known.
        milk: The last minutes of the milk.
        settings: What was known beforehand.

    Returns:
        The new state, and the proposal if there is one.

    Source:
        What can follow what is common practice.
    """
    if state.heat_s is not None:
        return state, None
    if state.hottest_degc - state.coldest_degc > MISSED_K:
        return replace(state, heat_s=math.nan), None
    onset = find_onset(milk, settings.lag("milk"))
    if onset is None:
        return state, None
    bend = onset.bend
    if bend.level > state.coldest_degc + WARMED_K:
        return state, None
    at = milk.now_s + bend.at_s
    why = f"The milk climbs by {60 * bend.after_per_s:.1f} K/min and is {onset.rise_k:.1f} K up."
    said = Proposal(
        kind="heat",
        at=at,
        u_at=math.hypot(bend.u_s, U_POT_S),
        seen_at=milk.now_s,
        confidence=confidence("heat"),
        why=why,
    )
    return replace(state, heat_s=at), said


def find_onset(look: Look, lag: Lag) -> Onset | None:
    """Return the climb that begins within a look, if one does.

    Args:
        look: The last minutes of the milk.
        lag: Of the probe [s].

    Returns:
        The climb, None if the milk doesn't climb or a step explains it better.

    Source:
        Bayes factor of a bend against a straight line and against a step (definition).
    """
    time_s, value = look.time_s, look.value
    if time_s.size < 6 or time_s[-1] - time_s[0] < 25.0:
        return None
    ahead_k = float(look.latest(10.0).mean()) - middle_of(value)
    if ahead_k < 2.0 * look.noise_k + 0.15:
        return None
    starts = np.arange(max(-150.0, float(time_s[0]) + 8.0), -4.0, 3.0)
    noise = (look.noise_k, NOISE_LASTS_S)
    bend = find_bend(
        time_s,
        value,
        bends(starts, HOB_LAGS_S, probe_lags(lag)),
        noise=noise,
        spreads=(_SLOPE_BEFORE, _SLOPE_CHANGE),
    )
    if bend is None or bend.log_odds < LEAST_LOG_ODDS or bend.after_per_s < LEAST_K_PER_S:
        return None
    rise_k = float(look.latest(8.0).mean()) - bend.level
    if rise_k < max(LEAST_RISE_K, 3.0 * look.noise_k, 1.2 * look.resolution_k):
        return None
    if bend.after_per_s > USUAL_K_PER_S and rise_k < GONE_ON_K:
        return None
    moved = find_step(time_s, value, starts, noise=noise, spreads=(_SLOPE_BEFORE, _STEP_K))
    return Onset(bend, rise_k) if bend.log_odds > moved else None
