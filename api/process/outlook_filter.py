# SPDX-License-Identifier: MIT
"""A pot's heat balance, learnt as its readings come, under many suppositions at once.

Each supposition is a Kalman filter over the integrated balance
T' = T + a dt + f int(exp(-t/th)) - k int(T - Ta) - e int(g), so that no noisy slope enters;
stirring is a remembered error of its own. Pure: numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.outlook_beliefs import (
    FADING,
    LOSS,
    STATES,
    STEADY,
    STIRRING,
    TEMPERATURE,
    VAPOUR,
    Bank,
)

# What else moves the milk [K/sqrt(s)].
WANDER_K_PER_ROOT_S = 0.004
# Readings further off than this many standard deviations and kelvin are passed over.
GATE, GATE_K = 6.0, 1.5


@dataclass(frozen=True, slots=True)
class Learnt:
    """What is known of a pot after its readings, under each supposition.

    Attributes:
        bank: The suppositions.
        mean: State [K, K/s, K/s, 1/s, K/s, K], shape (h, 6).
        cov: Covariances, shape (h, 6, 6).
        weight: How likely each is now, sums to 1 [-], shape (h,).
        at_s: Time of the last reading used [s since 1970 UTC].
        since_s: Time from the start to it [s].
        passed_over: Share of the bins that lay too far off [-].
    """

    bank: Bank
    mean: Floats
    cov: Floats
    weight: Floats
    at_s: float
    since_s: float
    passed_over: float


def learn(
    bank: Bank, time_s: Floats, readings: tuple[Floats, Floats], room_degc: float, drive: Floats
) -> Learnt:
    """Return what a stretch of readings teaches.

    Args:
        bank: What was believed beforehand.
        time_s: Times [s since 1970 UTC], shape (n,), oldest first.
        readings: Temperatures [degC] and standard deviations of their noise [K], shapes (n,).
        room_degc: Temperature of the room [degC].
        drive: Evaporation at each reading relative to that at 95 degC [-], shape (n,).

    Returns:
        States, covariances and weights.

    Source:
        Kalman 1960 (from memory); weights by the likelihood of each reading as it came
        (definition).
    """
    value, u = readings
    mean, cov = bank.mean.copy(), _diagonals(bank.spread**2)
    logs, passed = np.log(np.maximum(bank.weight, 1e-12)), 0
    since = time_s - time_s[0]
    pace = np.maximum(np.abs(bank.mean[:, STEADY]), 0.01)
    for j in range(value.size):
        if j:
            span = (float(since[j - 1]), float(since[j]))
            over = float(value[j] + value[j - 1]) / 2.0 - room_degc
            mean, cov = _carry(
                bank, (mean, cov), span, (over, float(drive[j] + drive[j - 1]) / 2.0), pace
            )
        taken, logs = _weigh(mean, cov, logs, (float(value[j]), float(u[j])), j)
        passed += not taken
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    return Learnt(bank, mean, cov, weight, float(time_s[-1]), float(since[-1]), passed / value.size)


def _carry(
    bank: Bank,
    state: tuple[Floats, Floats],
    span: tuple[float, float],
    losing: tuple[float, float],
    pace: Floats,
) -> tuple[Floats, Floats]:
    """Return mean and covariance one bin later; `losing` is excess [K] and drive [-]."""
    (mean, cov), (from_s, to_s) = state, span
    step_s = to_s - from_s
    change = np.broadcast_to(np.eye(STATES), cov.shape).copy()
    fade = bank.hob_s * (np.exp(-from_s / bank.hob_s) - np.exp(-to_s / bank.hob_s))
    change[:, TEMPERATURE, STEADY] = step_s
    change[:, TEMPERATURE, FADING] = fade
    change[:, TEMPERATURE, LOSS] = -step_s * losing[0]
    change[:, TEMPERATURE, VAPOUR] = -step_s * losing[1]
    kept = np.exp(-step_s / bank.lasts_s)
    change[:, STIRRING, STIRRING] = kept
    mean = np.einsum("hij,hj->hi", change, mean)
    cov = change @ cov @ change.transpose(0, 2, 1)
    cov[:, TEMPERATURE, TEMPERATURE] += WANDER_K_PER_ROOT_S**2 * step_s
    cov[:, STEADY, STEADY] += (bank.wander * pace) ** 2 * step_s
    cov[:, STIRRING, STIRRING] += bank.stirring_k**2 * (1.0 - kept**2)
    return mean, cov


def _diagonals(squares: Floats) -> Floats:
    cov = np.zeros((*squares.shape, STATES))
    at = np.arange(STATES)
    cov[:, at, at] = squares
    return cov


def _weigh(
    mean: Floats, cov: Floats, logs: Floats, reading: tuple[float, float], count: int
) -> tuple[bool, Floats]:
    """Let one reading teach `mean` and `cov` in place; return whether it was taken, and weights."""
    value, u = reading
    gain = cov[:, :, TEMPERATURE] + cov[:, :, STIRRING]
    spread = gain[:, TEMPERATURE] + gain[:, STIRRING] + u**2
    left = value - mean[:, TEMPERATURE] - mean[:, STIRRING]
    weight = np.exp(logs - logs.max())
    near = float(weight @ (left**2 / spread)) / float(weight.sum())
    if count > 3 and near > GATE**2 and float(np.min(np.abs(left))) > GATE_K:
        # Another temperature becomes likelier with each reading that is passed over.
        cov[:, TEMPERATURE, TEMPERATURE] += GATE_K**2
        return False, logs
    share = gain / spread[:, None]
    mean += share * left[:, None]
    cov -= share[:, :, None] * gain[:, None, :]
    return True, logs - 0.5 * (left**2 / spread + np.log(spread))
