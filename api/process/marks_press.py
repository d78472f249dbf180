# SPDX-License-Identifier: MIT
"""Press: whey begins to run, fast at first, and a scale under the press sees it.

The scale may carry the tray alone, and grows heavier, or press and curd too, and grows lighter as
the whey runs off. Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.curves import Floats
from api.process.marks_bend import bends, find_bend
from api.process.marks_confidence import confidence
from api.process.marks_scale import MassLook
from api.process.marks_settings import Proposal
from api.process.smoothing import middle_of

LEAST_SPREADS, LEAST_STEPS, LEAST_KG = 6.0, 5.0, 0.003
LEAST_LOG_ODDS = 10.0
LEAST_RUN_S, LEAST_READINGS = 12.0, 4
# Whey runs fastest at first, which a straight line takes for an earlier start [s].
U_START_S = 4.0
_STEP_SPREADS = 12.0
_STEP_SHARE = 0.4


@dataclass(frozen=True, slots=True)
class PressState:
    """What is known of a press: whether it has begun [s since 1970 UTC]."""

    press_s: float | None = None


def step_press(state: PressState, mass: MassLook | None) -> tuple[PressState, list[Proposal]]:
    """Return what is known one look later, and what is proposed.

    Args:
        state: What was known.
        mass: The last minutes of the scale under the press.

    Returns:
        The new state, and the proposals.

    Source:
        What can follow what is common practice.
    """
    if state.press_s is not None or mass is None:
        return state, []
    said = find_press(mass)
    if said is None:
        return state, []
    return replace(state, press_s=said.at), [said]


def find_press(mass: MassLook) -> Proposal | None:
    """Return that whey has begun to run, if it has.

    Args:
        mass: The last minutes of the scale under the press.

    Returns:
        The proposal, None while nothing runs.

    Source:
        Bayes factor of a bend against a straight line (definition).
    """
    time_s, value, loaded = _since_loading(mass)
    if time_s.size < LEAST_READINGS:
        return None
    ahead_kg = float(np.mean(value[-2:])) - middle_of(value[:3])
    noise_kg = max(_noise_of(value), mass.step_kg / 3.46, 1e-4)
    least_kg = max(LEAST_SPREADS * noise_kg, LEAST_STEPS * mass.step_kg, LEAST_KG)
    if abs(ahead_kg) < least_kg or (ahead_kg < 0.0 and not loaded):
        return None
    first_s = float(time_s[0])
    starts = np.arange(first_s - (3.0 if loaded else 0.0), -LEAST_RUN_S + 0.1, 1.5)
    rate = abs(ahead_kg) / 30.0
    bend = find_bend(
        time_s,
        value,
        bends(starts, (0.8,), ((0.5, 0.0),)),
        noise=(noise_kg, 2.0),
        spreads=(0.02 * rate, 3.0 * rate),
    )
    if bend is None or bend.log_odds < LEAST_LOG_ODDS:
        return None
    run = time_s > bend.at_s
    if np.count_nonzero(run) < LEAST_READINGS or not _gradual(value[run], ahead_kg):
        return None
    interval_s = middle_of(np.diff(time_s))
    why = f"{abs(ahead_kg):.3f} kg of whey ran within {-bend.at_s:.0f} s."
    sure = confidence("press")
    u_s = math.hypot(bend.u_s, 0.3 * interval_s, U_START_S)
    return Proposal("press", mass.now_s + bend.at_s, u_s, mass.now_s, sure, why)


def _since_loading(mass: MassLook) -> tuple[Floats, Floats, bool]:
    """Return the readings since something was last put on or taken off, and whether it was."""
    time_s, value = mass.time_s, mass.mass_kg
    if value.size < 3:
        return time_s, value, False
    change = np.abs(np.diff(value))
    usual_kg = max(middle_of(change), mass.step_kg / 3.46, 1e-4)
    abrupt = np.flatnonzero(change > max(_STEP_SPREADS * usual_kg, 0.02))
    later = [one for one in abrupt.tolist() if change[one] > _STEP_SHARE * _after(value, one)]
    if not later:
        return time_s, value, False
    last = later[-1] + 1
    return time_s[last:], value[last:], True


def _after(value: Floats, at: int) -> float:
    """Return how far the mass goes after a step, at most [kg]."""
    rest = value[at + 1 :]
    return float(np.ptp(rest)) if rest.size > 1 else 0.0


def _noise_of(value: Floats) -> float:
    """Return the spread of neighbouring readings about a smooth run [kg]."""
    if value.size < 5:
        return 0.0
    bent = value[2:] - 2.0 * value[1:-1] + value[:-2]
    return middle_of(np.abs(bent)) / (0.6745 * math.sqrt(6.0))


def _gradual(value: Floats, ahead_kg: float) -> bool:
    """Tell whether the mass runs on steadily and not in one step."""
    parts = np.array_split(value * math.copysign(1.0, ahead_kg), min(value.size, 5))
    change = np.diff([float(part.mean()) for part in parts])
    return bool(change.max() < 0.7 * abs(ahead_kg) and np.count_nonzero(change > 0.0) >= 3)
