# SPDX-License-Identifier: MIT
"""Boil and simmer: where a climb ends in a plateau.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.marks_bend import Bend, bends, find_bend, probe_lags
from api.process.marks_confidence import confidence
from api.process.marks_look import Look
from api.process.marks_settings import U_PROBE_K, MarkSettings, Proposal
from api.process.marks_state import PotState
from api.process.pour_search import Lag

# How long a plateau has to last: one that can only be the boil, any, and one that could be either.
BOIL_HOLD_S, HOLD_S, DOUBT_HOLD_S = 30.0, 50.0, 90.0
BEFORE_S = 150.0
LEAST_LOG_ODDS = 5.0
LEAST_CLIMB_K_PER_S = 0.4 / 60.0
LARGEST_AFTER_FRACTION, LARGEST_AFTER_K_PER_S = 0.2, 0.8 / 60.0
LARGEST_CHANGE_K, LARGEST_STRAY_K = 1.0, 1.5
# Readings this close before the plateau place its beginning [s].
NEAR_BOIL_S, NEAR_SIMMER_S = 20.0, 60.0
NOISE_LASTS_S = 5.0
# How well the beginning of a boil is placed, and of a simmer, which the milk enters slowly [s].
U_SHARP_S, U_SOFT_S = 3.0, 20.0
# Simmers lie anywhere within so much below the boil, mostly by a kelvin and more (common
# practice).
SIMMER_SPAN_K, SIMMER_BELOW_K, SIMMER_EDGE_K = 8.0, 0.8, 0.2
SURE_BOIL, DOUBT = 0.95, 0.1
# Nobody holds milk farther below its boil; a climb that stops there is a layer that isn't stirred.
LOWEST_SIMMER_K, USUAL_SIMMER_K = 25.0, 12.0
# Had the climb gone on, the milk would be so much hotter: stirring alone doesn't hide that.
LEAST_MISSED_K = 2.5
# A climb that ends this close below a rising target is the hob switched off for it.
AT_TARGET_K = 4.0


@dataclass(frozen=True, slots=True)
class Plateau:
    """A plateau after a climb.

    Attributes:
        at_s: When it began, from now [s].
        u_s: Standard uncertainty of that [s].
        level_degc: [degC].
        log_odds: Of a bend against a straight line [-].
        climb_k_per_s: Slope before [K/s].
    """

    at_s: float
    u_s: float
    level_degc: float
    log_odds: float
    climb_k_per_s: float


def plateau(
    state: PotState, milk: Look, settings: MarkSettings
) -> tuple[PotState, Proposal | None]:
    """Return what is known after a look for the boil or a simmer, and what is proposed.

    Args:
        state: What was known.
        milk: The last minutes of the milk.
        settings: What was known beforehand.

    Returns:
        The new state, and the proposal if there is one.

    Source:
        What can follow what is common practice.
    """
    if state.plateau_degc is not None or state.additions_s or not state.hot:
        return state, None
    boiling = (settings.boiling.value, math.hypot(settings.boiling.u, U_PROBE_K))
    found = _found(milk, settings, boiling)
    if found is None:
        return state, None
    share = boil_share(found.level_degc, boiling)
    kind, share = ("boil", share) if share > 0.5 else ("simmer", 1.0 - share)
    if kind == "simmer" and _at_target(found.level_degc, settings):
        return state, None
    said = Proposal(
        kind=kind,
        at=milk.now_s + found.at_s,
        u_at=found.u_s,
        seen_at=milk.now_s,
        confidence=confidence(kind) * share,
        why=f"A climb of {60 * found.climb_k_per_s:.1f} K/min ends at {found.level_degc:.1f} degC;"
        f" water boils here at {boiling[0]:.1f} degC.",
    )
    return replace(state, plateau_degc=found.level_degc), said


def boil_share(level_degc: float, boiling: tuple[float, float]) -> float:
    """Return how likely a plateau at a level is the boil and no simmer.

    Args:
        level_degc: [degC].
        boiling: Where milk boils here [degC] and its standard uncertainty, probe included [K].

    Returns:
        Probability of the boil, given that it is one of the two [-].

    Source:
        Bayes' rule with a normal density for the boil and an even one for simmers (definition).

    Example:
        >>> boil_share(96.6, (96.7, 0.5)) > 0.99, boil_share(92.0, (96.7, 0.5)) < 1e-9
        (True, True)
    """
    off_k = (level_degc - boiling[0]) / boiling[1]
    boil = math.exp(-0.5 * off_k * off_k) / (boiling[1] * math.sqrt(2.0 * math.pi))
    if off_k > 0.0:
        boil = max(boil, 1e-6)
    edge = (level_degc - boiling[0] + SIMMER_BELOW_K) / SIMMER_EDGE_K
    simmer = 1.0 / (1.0 + math.exp(min(edge, 50.0))) / SIMMER_SPAN_K
    return boil / (boil + simmer)


def _found(milk: Look, settings: MarkSettings, boiling: tuple[float, float]) -> Plateau | None:
    lag = settings.lag("milk")
    near = float(milk.latest(15.0).mean()) > boiling[0] - 3.0 * boiling[1]
    if near:
        found = find_plateau(milk, lag, BOIL_HOLD_S, sharp=True)
        if found is not None and boil_share(found.level_degc, boiling) > SURE_BOIL:
            return found
    found = find_plateau(milk, lag, HOLD_S, sharp=near)
    if found is None:
        return None
    below_k = boiling[0] - found.level_degc
    if below_k > LOWEST_SIMMER_K:
        return None
    doubt = DOUBT < boil_share(found.level_degc, boiling) < 1.0 - DOUBT
    if doubt or below_k > USUAL_SIMMER_K or found.climb_k_per_s * HOLD_S < LEAST_MISSED_K:
        return find_plateau(milk, lag, DOUBT_HOLD_S, sharp=near)
    return found


def _at_target(level_degc: float, settings: MarkSettings) -> bool:
    if settings.target_degc is None or settings.approach != "rising":
        return False
    return level_degc > settings.target_degc - AT_TARGET_K


def find_plateau(look: Look, lag: Lag, hold_s: float, *, sharp: bool) -> Plateau | None:
    """Return the plateau that has lasted for a while, if there is one.

    Args:
        look: The last minutes of the milk.
        lag: Of the probe [s].
        hold_s: How long it has to have lasted [s].
        sharp: It begins as sharply as a boil.

    Returns:
        The plateau, None if the milk doesn't stand still or never climbed.

    Source:
        Bayes factor of a bend against a straight line (definition); durations are ours.
    """
    held = look.since(-hold_s)
    if held.time_s.size < 4 or look.time_s[0] > -hold_s - 40.0:
        return None
    if float(np.ptp(held.value)) > LARGEST_STRAY_K + 4.0 * look.noise_k:
        return None
    early = held.value[held.time_s < -hold_s + 15.0]
    if early.size == 0 or abs(look.latest(12.0).mean() - early.mean()) > LARGEST_CHANGE_K:
        return None
    window = look.since(-hold_s - BEFORE_S)
    bend = _bend(window, lag, (-hold_s - 105.0, -hold_s + 15.0), (1.0, 8.0, 20.0))
    if bend is None or bend.log_odds < LEAST_LOG_ODDS or bend.before_per_s < LEAST_CLIMB_K_PER_S:
        return None
    if abs(bend.after_per_s) > min(
        LARGEST_AFTER_FRACTION * bend.before_per_s, LARGEST_AFTER_K_PER_S
    ):
        return None
    level = float(held.since(5.0 - hold_s).value.mean())
    near = _placed(window, lag, level, sharp=sharp) or bend
    return Plateau(
        at_s=near.at_s,
        u_s=math.hypot(near.u_s, U_SHARP_S if sharp else U_SOFT_S),
        level_degc=level,
        log_odds=bend.log_odds,
        climb_k_per_s=bend.before_per_s,
    )


def _bend(
    window: Look, lag: Lag, reach_s: tuple[float, float], lags_s: tuple[float, ...]
) -> Bend | None:
    if window.time_s.size < 5:
        return None
    first_s = max(reach_s[0], float(window.time_s[0]) + 8.0)
    spread = 5.0 / 60.0
    return find_bend(
        window.time_s,
        window.value,
        bends(np.arange(first_s, reach_s[1] + 0.1, 3.0), lags_s, probe_lags(lag)),
        noise=(max(window.noise_k, 0.03), NOISE_LASTS_S),
        spreads=(spread, spread),
    )


def _placed(window: Look, lag: Lag, level: float, *, sharp: bool) -> Bend | None:
    """Return the bend by the last readings below the plateau alone: stirring bends the others."""
    below_k = max(0.35, 2.5 * window.noise_k, window.resolution_k)
    below = np.flatnonzero(window.value < level - below_k)
    if not below.size or window.time_s[below[-1]] > -10.0:
        return None
    last_s = float(window.time_s[below[-1]])
    near = window.since(last_s - (NEAR_BOIL_S if sharp else NEAR_SIMMER_S))
    lags = (1.0,) if sharp else (1.0, 8.0, 20.0)
    return _bend(near, lag, (last_s - 30.0, min(last_s + 25.0, -8.0)), lags)
