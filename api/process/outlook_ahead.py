# SPDX-License-Identifier: MIT
"""Where a pot goes from here: what was learnt, carried on in time by many samples.

Pure: numpy only.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Floats
from api.process.outlook_beliefs import (
    FADING,
    LID_LOSS_FRACTION,
    LOSS,
    OPEN_K_PER_S,
    STATES,
    STEADY,
    TEMPERATURE,
    U_OPEN_FRACTION,
    VAPOUR,
)
from api.process.outlook_filter import WANDER_K_PER_ROOT_S, Learnt
from api.process.vapour_drive import NODES_DEGC

SAMPLES = 400
# Beyond this it is not a forecast any more.
HORIZON_S = 6.0 * 3600.0
_STEPS_TO_GOAL, _STEPS, _GROWTH = 60, 500, 1.012
# How likely it is that a lid that is on while the milk warms is taken off on the way.
_LID_OFF = 0.7
# Hobs are chosen so that their pots come to where the maker wants them: what would crawl there at
# less than this share of its present rate is less likely, down to this weight (common practice).
AMPLE_FRACTION, LEAST_WEIGHT = 0.25, 0.07


@dataclass(frozen=True, slots=True)
class Ahead:
    """Moments at which samples of a pot come to a temperature.

    Attributes:
        after_s: From the last reading [s], shape (400,); infinite where it is never reached.
        levels_degc: Where each sample stands at the end [degC], shape (400,).
        weight: How much each counts, sums to 1 [-], shape (400,).
    """

    after_s: Floats
    levels_degc: Floats
    weight: Floats

    @property
    def reached(self) -> float:
        """Share of the samples that get there [-]."""
        return float(np.mean(np.isfinite(self.after_s)))

    def quantile(self, share: float, later_s: Floats) -> float:
        """Return a quantile of the moments, each made later by so much [s].

        Args:
            share: Between 0 and 1 [-].
            later_s: What comes on top [s], shape (400,).

        Returns:
            Time after the last reading, at most the horizon [s].

        Source:
            Definition.
        """
        after_s = np.minimum(self.after_s, HORIZON_S) + later_s
        order = np.argsort(after_s)
        total = np.cumsum(self.weight[order])
        middles = (total - 0.5 * self.weight[order]) / total[-1]
        return float(np.interp(share, middles, after_s[order]))


def go_ahead(
    learnt: Learnt, goal_degc: Floats, room_degc: float, table: Floats, *, rising: bool
) -> Ahead:
    """Return when a pot reaches a temperature if its hob stays as it is.

    Args:
        learnt: What is known of it now.
        goal_degc: Temperature to be reached by each sample [degC], shape (400,).
        room_degc: Temperature of the room [degC].
        table: Drive of evaporation at the nodes of `vapour_drive` [-], shape (441,).
        rising: The goal is approached from below.

    Returns:
        Times after the last reading [s].

    Source:
        Heat balance (definition), by the midpoint rule; 400 samples of what was learnt.
    """
    pots = _sampled(learnt, (room_degc, table))
    sign = 1.0 if rising else -1.0
    lid = _lid_off(pots, goal_degc) if rising else None
    weight = _weight(pots, goal_degc, lid) if lid is not None else _EVEN
    here = sign * (goal_degc - pots.value)
    step_s, at_s = _first_step_s(here, sign * pots.slope(pots.value, 0.0)), 0.0
    after = np.where(here <= 0.0, 0.0, np.inf)
    value, shocks = pots.value, _normals(_STEPS, 1)
    for i in range(_STEPS):
        middle = value + 0.5 * step_s * pots.slope(value, at_s)
        moved = step_s * pots.slope(middle, at_s + 0.5 * step_s)
        moved += WANDER_K_PER_ROOT_S * math.sqrt(step_s) * shocks[i]
        crossed = (sign * (value + moved - goal_degc) >= 0) & ~np.isfinite(after)
        share = (goal_degc - value)[crossed] / moved[crossed]
        after[crossed] = at_s + step_s * np.clip(share, 0.0, 1.0)
        value, at_s = value + moved, at_s + step_s
        pots.steady += pots.wander * math.sqrt(step_s) * shocks[-1 - i]
        if lid is not None:
            pots.lose(lid, value >= lid.at_degc)
        step_s *= _GROWTH
        if at_s > HORIZON_S or np.isfinite(after).all():
            break
    return Ahead(after, value, weight)


def _first_step_s(left_k: Floats, pace_k_per_s: Floats) -> float:
    """Return a step of time of which some sixty lead to the goal [s]."""
    pace = max(float(np.median(pace_k_per_s)), 1e-4)
    step_s = max(float(np.median(left_k)), 0.05) / pace / _STEPS_TO_GOAL
    return min(max(step_s, 0.25), 60.0)


_EVEN: Floats = np.full(SAMPLES, 1.0 / SAMPLES)


@dataclass(frozen=True, slots=True)
class _Lid:
    """Where lids come off, infinite where they don't, and what the pot loses from then on."""

    at_degc: Floats
    loss: Floats
    vapour: Floats


@dataclass(slots=True)
class _Pots:
    """Samples of a pot, shape (400,): temperature, heat, losses, and what is alike for all."""

    value: Floats
    steady: Floats
    fade: Floats
    loss: Floats
    vapour: Floats
    hob_s: Floats
    wander: Floats
    covered: Floats
    scale: Floats
    room_degc: float
    table: Floats

    def slope(self, degc: Floats, at_s: float) -> Floats:
        """Return how fast each would move at a temperature [K/s]."""
        drive = np.interp(degc, NODES_DEGC, self.table)
        heat = self.steady + self.fade * np.exp(-at_s / self.hob_s)
        found: Floats = heat - self.loss * (degc - self.room_degc) - self.vapour * drive
        return found

    def lose(self, lid: _Lid, off: NDArray[np.bool_]) -> None:
        """Let those whose lid is off lose as open pots do."""
        self.loss = np.where(off, lid.loss, self.loss)
        self.vapour = np.where(off, lid.vapour, self.vapour)


def _sampled(learnt: Learnt, around: tuple[float, Floats]) -> _Pots:
    """Return samples drawn from what was learnt."""
    bank, total = learnt.bank, np.cumsum(learnt.weight)
    which = np.searchsorted(total, (np.arange(SAMPLES) + 0.5) / SAMPLES * total[-1])
    which = np.minimum(which, total.size - 1)
    size, axes = np.linalg.eigh(learnt.cov)
    reach = axes * np.sqrt(np.maximum(size, 0.0))[:, None, :]
    state = learnt.mean[which] + np.einsum("sij,js->si", reach[which], _normals(STATES, 2))
    hob_s = bank.hob_s[which]
    return _Pots(
        value=state[:, TEMPERATURE],
        steady=state[:, STEADY].copy(),
        fade=state[:, FADING] * np.exp(-learnt.since_s / hob_s),
        loss=np.maximum(state[:, LOSS], 0.05 * bank.mean[which, LOSS]),
        vapour=np.maximum(state[:, VAPOUR], 0.0),
        hob_s=hob_s,
        wander=bank.wander[which] * np.abs(learnt.mean[which, STEADY]),
        covered=bank.covered[which],
        scale=bank.scale[which],
        room_degc=around[0],
        table=around[1],
    )


def _lid_off(pots: _Pots, goal_degc: Floats) -> _Lid:
    """Return where lids will come off on the way up, if they are on."""
    chance, way = np.random.default_rng(7).random((2, SAMPLES))
    comes_off = (pots.covered > 0.5) & (chance < _LID_OFF)
    at = np.where(comes_off, pots.value + way * (goal_degc - pots.value), np.inf)
    spread = 1.0 + U_OPEN_FRACTION * _normals(1, 3)[0]
    vapour = pots.scale * OPEN_K_PER_S * np.maximum(spread, 0.1)
    return _Lid(at, pots.loss / LID_LOSS_FRACTION, vapour)


def _weight(pots: _Pots, goal_degc: Floats, lid: _Lid) -> Floats:
    """Return how likely each sample is, knowing that hobs are chosen for their pots."""
    off = np.isfinite(lid.at_degc)
    loss, vapour = np.where(off, lid.loss, pots.loss), np.where(off, lid.vapour, pots.vapour)
    drive = np.interp(goal_degc, NODES_DEGC, pots.table)
    there = pots.steady - loss * (goal_degc - pots.room_degc) - vapour * drive
    left = there / np.maximum(pots.slope(pots.value, 0.0), 1e-4)
    weight = LEAST_WEIGHT + (1.0 - LEAST_WEIGHT) * np.clip(left / AMPLE_FRACTION, 0.0, 1.0)
    found: Floats = weight / weight.sum()
    return found


@functools.lru_cache(maxsize=8)
def _normals(rows: int, seed: int) -> Floats:
    """Return normal numbers, the same each time, shape (rows, 400)."""
    half = np.random.default_rng(seed).standard_normal((rows, SAMPLES // 2))
    both = np.concatenate([half, -half], axis=1)
    found: Floats = both[:, np.random.default_rng(seed + 100).permutation(SAMPLES)]
    found.flags.writeable = False
    return found
