# SPDX-License-Identifier: MIT
"""The temperatures that a hold is judged on, with the uncertainty that counts for it.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.curves import Curve, Floats
from api.process.lag import unlagged
from api.process.smoothing import noise

# Time constant of the slowest bare probe in a published response table, a 6 mm resistance
# thermometer in water at 0.2 m/s (a cable maker's table; seen). It only ever makes a verdict
# stricter.
PLAUSIBLE_LAG_S = 15.0


@dataclass(frozen=True, slots=True)
class JudgedValues:
    """Readings as a hold takes them.

    Attributes:
        time_s: Times of the readings [s since 1970 UTC], shape (n,).
        value: Best values, with the lag undone where it is known [degC], shape (n,).
        u: Standard uncertainty of each [K], shape (n,).
        slope_k_per_s: Slope of the readings [K/s], shape (n,).
        basis: What the uncertainty is made of, in words.
    """

    time_s: Floats
    value: Floats
    u: Floats
    slope_k_per_s: Floats
    basis: str


def judged_values(
    curve: Curve, u_also_k: float = 0.0, plausible_lag_s: float = PLAUSIBLE_LAG_S
) -> JudgedValues:
    """Return the best values of a curve with calibration, step, noise and lag in their u.

    A probe on falling milk shows too much. With a known time constant that is undone; without
    one the slope times a plausible time constant goes into the uncertainty.

    Args:
        curve: Calibrated readings [degC].
        u_also_k: Standard uncertainty of what they are compared with, such as the local boiling
            point [K].
        plausible_lag_s: Time constant taken where none is known [s].

    Returns:
        Values [degC] with standard uncertainty [K].

    Source:
        First-order lag, error tau dT/dt (definition); JCGM 100:2008, 5.1 and F.2.2.1 (from
        memory).
    """
    tau_s = curve.time_constant_s
    if tau_s is None:
        shadow = unlagged(replace(curve, time_constant_s=plausible_lag_s, u_time_constant_s=0.0))
        slope = _filled_slope(curve, shadow.slope_k_per_s)
        value = curve.value
        u_lag = np.abs(slope) * plausible_lag_s
        u_reading = math.hypot(curve.resolution / math.sqrt(12.0), noise(curve))
        u = np.hypot(u_lag, u_reading)
        lag_text = f"no time constant is known, {plausible_lag_s:.0f} s times the slope"
    else:
        undone = unlagged(curve)
        slope = _filled_slope(curve, undone.slope_k_per_s)
        known = ~np.isnan(undone.value)
        value = np.where(known, undone.value, curve.value)
        u = np.where(known, undone.u, np.abs(slope) * tau_s)
        lag_text = f"lag of {tau_s:.1f} s undone"
    if curve.u_calibration > 0.0:
        known_text = f"calibration {curve.u_calibration:.2f} K"
    else:
        known_text = "no uncertainty of the thermometer is stated"
    fixed = math.hypot(curve.u_calibration, u_also_k)
    u_total = np.hypot(u, fixed)
    return JudgedValues(curve.time_s, value, u_total, slope, f"{known_text}; {lag_text}")


def _filled_slope(curve: Curve, slope: Floats) -> Floats:
    """Return the slopes, steepest of both neighbours where too few readings gave a fit."""
    if len(curve) < 2:
        return np.zeros(len(curve))
    steps = np.abs(np.diff(curve.value) / np.diff(curve.time_s))
    nearby = np.maximum(np.r_[0.0, steps], np.r_[steps, 0.0])
    return np.where(np.isnan(slope), nearby, slope)
