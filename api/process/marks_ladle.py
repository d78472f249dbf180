# SPDX-License-Identifier: MIT
"""Ladle: the mass in the pot steps down, ladle by ladle.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.marks_confidence import confidence
from api.process.marks_scale import MassLook, spread_of
from api.process.marks_settings import Proposal
from api.process.marks_state import HOT_DEGC, PotState
from api.process.smoothing import middle_of

# Before this the mass is taken as it was before the ladle [s before now].
_BASE_S, _RECENT_S = (-240.0, -75.0), 12.0
_LEAST_FRACTION, _LEAST_ALONE_FRACTION = 0.025, 0.12
_LEAST_SPREADS, _LEAST_STEPS = 6.0, 5.0
# A lid is lifted in one go, by the mass with which it was put on, within so much.
_LID_FRACTION, _LEAST_LID_FRACTION = 0.08, 0.01
# Curd needs so long to set [s].
LEAST_AFTER_ADDITION_S = 120.0
# Milk that sets by itself is ladled after it has cooled by so much [K], and a lid that comes off
# weighs less than such a share of it.
COOLED_K, LEAST_SELF_SET_FRACTION = 3.0, 0.15


@dataclass(frozen=True, slots=True)
class Ladled:
    """Mass that is being taken out.

    Attributes:
        at_s: First of it, from now [s].
        u_s: [s].
        gone_kg: How much is gone [kg].
        fraction: Share of what was there [-].
        spreads: How far beyond the noise [-].
    """

    at_s: float
    u_s: float
    gone_kg: float
    fraction: float
    spreads: float


def ladle(state: PotState, mass: MassLook) -> tuple[PotState, Proposal | None]:
    """Return what is known after a look for the ladle, and what is proposed.

    Args:
        state: What was known.
        mass: The last minutes of the scale under the pot.

    Returns:
        The new state, and the proposal if there is one.

    Source:
        What can follow what is common practice.
    """
    if state.ladle_s is not None:
        return state, None
    lid_kg = 0.0
    if math.isfinite(state.lowest_kg) and math.isfinite(state.steady_kg):
        lid_kg = max(state.steady_kg - state.lowest_kg, 0.0)
    found = find_ladle(mass, lid_kg) if _can_be(state, mass.now_s) else None
    lid = not state.additions_s and found and found.fraction < LEAST_SELF_SET_FRACTION
    if found is None or lid:
        return _weighed(state, mass), None
    at = mass.now_s + found.at_s
    said = Proposal(
        kind="ladle",
        at=at,
        u_at=found.u_s,
        seen_at=mass.now_s,
        confidence=confidence("ladle"),
        why=f"{found.gone_kg:.2f} kg, {100 * found.fraction:.0f} %, left the pot in steps.",
    )
    return replace(state, ladle_s=at), said


def _weighed(state: PotState, mass: MassLook) -> PotState:
    """Remember what the pot weighs, and what it weighed without its lid."""
    recent, calm = mass.between(-20.0, 0.0), mass.between(-150.0, -60.0)
    lowest, steady = state.lowest_kg, state.steady_kg
    if recent.size > 1 and state.heat_s is not None:
        lowest = min(lowest, middle_of(recent))
    if calm.size > 3:
        steady = middle_of(calm)
    return replace(state, lowest_kg=lowest, steady_kg=steady)


def _can_be(state: PotState, now_s: float) -> bool:
    if state.additions_s:
        return now_s - state.additions_s[-1][1] > LEAST_AFTER_ADDITION_S
    if state.plateau_degc is not None and not state.left_plateau and not state.out:
        return False
    cooled = state.out or state.trusted_degc < state.hottest_degc - COOLED_K
    return state.hottest_degc > HOT_DEGC and cooled


def find_ladle(look: MassLook, lid_kg: float) -> Ladled | None:
    """Return the mass that is being ladled out, if any is.

    Args:
        look: The last minutes of the scale under the pot.
        lid_kg: Mass of a lid that is believed to be on, 0 for none known [kg].

    Returns:
        What is gone, None if too little or a lid alone.

    Source:
        Median and median absolute deviation (definition); shares are common practice.
    """
    base, recent = look.between(*_BASE_S), look.between(-_RECENT_S, 0.0)
    if base.size < 8 or recent.size < 2:
        return None
    before_kg, spread_kg = middle_of(base), spread_of(base, look.step_kg)
    gone_kg = before_kg - middle_of(recent)
    if gone_kg < max(
        _LEAST_FRACTION * before_kg, _LEAST_SPREADS * spread_kg, _LEAST_STEPS * look.step_kg
    ):
        return None
    falls = _falls(look, before_kg, spread_kg)
    if falls and lid_kg > _LEAST_LID_FRACTION * before_kg:
        if abs(falls[0][1] - lid_kg) < _LID_FRACTION * lid_kg:
            falls, gone_kg = falls[1:], gone_kg - lid_kg
    elif gone_kg < _LEAST_ALONE_FRACTION * before_kg and len(falls) < 2:
        return None
    if not falls:
        return None
    index = falls[0][0]
    span_s = float(look.time_s[index] - look.time_s[index - 1])
    return Ladled(
        at_s=float(look.time_s[index]) - 0.5 * span_s,
        u_s=math.hypot(span_s / math.sqrt(12.0), 2.0),
        gone_kg=gone_kg,
        fraction=gone_kg / before_kg,
        spreads=gone_kg / max(spread_kg, 1e-9),
    )


def _falls(look: MassLook, before_kg: float, spread_kg: float) -> list[tuple[int, float]]:
    """Return where the mass steps down for good: the first reading after, and how far [kg]."""
    least_kg = max(5.0 * spread_kg, 0.006 * before_kg, 3.0 * look.step_kg)
    falls: list[tuple[int, float]] = []
    level = before_kg
    for index in np.flatnonzero(look.time_s > _BASE_S[1]).tolist():
        later = look.mass_kg[index : index + 3]
        if later.size < 2:
            break
        if index and later.max() < level - least_kg:
            settled = look.mass_kg[index + 1 : index + 4]
            falls.append((index, level - middle_of(settled)))
            level = middle_of(settled)
    return falls
