# SPDX-License-Identifier: MIT
"""The time constant of a probe from a logged plunge into a stirred bath.

Pure: numpy only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.curves import Curve, Floats
from api.process.quantities import NotShown, Quantity, Result
from api.process.smoothing import noise

# A first-order probe has t90/t50 = ln 10 / ln 2. Inside these limits one time constant leaves
# at most a fifth of the lag; outside the wider ones the dip itself was not a clean step.
FIRST_ORDER_RATIO = math.log(10.0) / math.log(2.0)
FIRST_ORDER_LIMITS = (2.8, 3.9)
CLEAN_DIP_LIMITS = (1.8, 5.0)
LEAST_R_SQUARED = 0.99
LEAST_SPAN_K = 10.0
FEWEST_READINGS = 20
FEWEST_ON_THE_WAY = 8
# How much a time constant differs from dip to dip and from bath to pot (common practice), used
# where fewer than three dips show it.
PLACE_FRACTION = 0.10
# Two-sided 68.27 % quantile of t over that of the normal distribution, by degrees of freedom
# (JCGM 100:2008, table G.2; from memory).
_T_FACTOR = {1: 1.84, 2: 1.32, 3: 1.20, 4: 1.14, 5: 1.11, 6: 1.09, 7: 1.08, 8: 1.07, 9: 1.06}


@dataclass(frozen=True, slots=True)
class DipCheck:
    """What one plunge says about a probe.

    Attributes:
        time_constant: First-order time constant, or why there is none [s].
        ramp_lag: How far the probe trails a steady ramp, whatever its order: the area between
            the step and the response [s].
        t50_s: From the plunge to half of the step; NaN if not seen [s].
        t90_s: From the plunge to nine tenths of the step; NaN if not seen [s].
        ratio: t90 over t50; 3.32 for a first-order probe; NaN if not seen [-].
        r_squared: Of the line through the logarithm of what is left; NaN if not fitted [-].
        span_k: Height of the step, signed [K].
    """

    time_constant: Result
    ramp_lag: Result
    t50_s: float = math.nan
    t90_s: float = math.nan
    ratio: float = math.nan
    r_squared: float = math.nan
    span_k: float = math.nan


@dataclass(frozen=True, slots=True)
class _Step:
    """A plunge, normalised: 0 before it, 1 in the settled bath."""

    time_s: Floats
    share: Floats
    start_s: float
    u_start_s: float
    span_k: float
    u_end_fraction: float


def dip_check(curve: Curve) -> DipCheck:
    """Return the time constant of a probe that was plunged into a stirred bath.

    Args:
        curve: Its readings from some seconds before the plunge until it settled [degC].

    Returns:
        Time constant, ramp lag, t50, t90 and their ratio [s]; each NotShown with its reason
        where the dip can't show it.

    Source:
        Step response of a first-order lag (definition): the logarithm of what is left falls on
        a line of slope -1/tau, fitted from 10 to 90 %; t90/t50 = ln 10/ln 2. Refusal limits of
        the ratio from published response times of sheathed probes, 1.9 to 4.7 (second hand).
    """
    step = _find_step(curve)
    if isinstance(step, NotShown):
        return DipCheck(step, step)
    t50_s = _reached(step, 0.5) - step.start_s
    t90_s = _reached(step, 0.9) - step.start_s
    ratio = t90_s / t50_s if t50_s > 0 else math.nan
    time_constant, r_squared = _fit(step, curve.name)
    ramp_lag = _area(step, curve.name)
    refusal = _refusal(ratio, r_squared)
    if isinstance(time_constant, Quantity) and refusal is not None:
        time_constant = refusal
    elif isinstance(time_constant, Quantity):
        gap_s = abs(ramp_lag.value - time_constant.value)
        u = math.hypot(time_constant.u, gap_s / math.sqrt(3.0))
        time_constant = Quantity(
            time_constant.value, "s", u, time_constant.method, time_constant.sources
        )
    return DipCheck(time_constant, ramp_lag, t50_s, t90_s, ratio, r_squared, step.span_k)


def combined_time_constant(checks: Sequence[DipCheck]) -> Result:
    """Return the time constant that several dips of one probe in one place agree on.

    Args:
        checks: Dips of the same probe in the same medium [s].

    Returns:
        Their mean; u from their spread, and from what each of them could not tell; with fewer
        than three dips a tenth of the value is added [s]. NotShown if none is usable.

    Source:
        JCGM 100:2008, 4.2.3 and G.3 for the mean of few; 10 % from dip to dip is common practice.
    """
    usable = [c.time_constant for c in checks if isinstance(c.time_constant, Quantity)]
    if not usable:
        reasons = [c.time_constant.why for c in checks if isinstance(c.time_constant, NotShown)]
        return NotShown(reasons[0] if reasons else "No dip check of the probe is kept.")
    values = np.array([q.value for q in usable])
    mean, n = float(values.mean()), len(usable)
    common = float(np.sqrt(np.mean([q.u**2 for q in usable])))
    if n < 3:
        spread = PLACE_FRACTION * mean
    else:
        factor = _T_FACTOR.get(n - 1, 1.05)
        spread = factor * float(values.std(ddof=1)) / math.sqrt(n)
    sources: tuple[str, ...] = (f"{n} dip check{'s' if n > 1 else ''}",)
    if n < 3:
        sources += ("assumed: 10 % from dip to dip, fewer than three dips",)
    return Quantity(mean, "s", math.hypot(common, spread), "mean of dip checks", sources)


def _find_step(curve: Curve) -> _Step | NotShown:
    if len(curve) < FEWEST_READINGS:
        return NotShown(
            f"The dip has {len(curve)} readings; log at least {FEWEST_READINGS}, from five "
            "seconds before the plunge until the probe has settled."
        )
    settled = curve.value[-max(3, len(curve) // 5) :]
    settled_s = curve.time_s[-settled.size :]
    end = float(np.median(settled))
    start = float(np.median(curve.value[:3]))
    span = end - start
    if abs(span) < LEAST_SPAN_K:
        return NotShown(
            f"The step is {abs(span):.1f} K; plunge into a bath at least {LEAST_SPAN_K:.0f} K away."
        )
    share = (curve.value - start) / span
    drift = float(np.polyfit(settled_s - settled_s[0], settled, 1)[0]) / span
    crept = drift * float(settled_s[-1] - settled_s[0])
    if abs(crept) > 0.02:
        return NotShown(
            f"The last fifth of the dip still moves by {abs(crept * span):.1f} K; log until the "
            "probe has settled."
        )
    sigma = max(noise(curve), curve.resolution / math.sqrt(12.0))
    moved = min(max(4.0 * sigma / abs(span), 0.001), 0.02)
    half = int(np.argmax(share > 0.5))
    before = np.flatnonzero(share[:half] < moved)
    if before.size < 3:
        return NotShown("The plunge is not on the log; start it five seconds before the plunge.")
    last = int(before[-1])
    start = float(np.median(curve.value[: last + 1]))
    gap_s = float(curve.time_s[last + 1] - curve.time_s[last])
    return _Step(
        time_s=curve.time_s,
        share=(curve.value - start) / (end - start),
        start_s=float(curve.time_s[last]) + gap_s / 2,
        # A response that starts gently is seen to leave its start a reading late.
        u_start_s=gap_s,
        span_k=end - start,
        u_end_fraction=max(sigma, abs(crept * span) / 2) / abs(end - start),
    )


def _reached(step: _Step, share: float) -> float:
    """Return when a share of the step was first reached, between two readings [s]."""
    after = int(np.argmax(step.share >= share))
    before = after - 1
    low, high = float(step.share[before]), float(step.share[after])
    part = (share - low) / (high - low)
    return float(step.time_s[before] + part * (step.time_s[after] - step.time_s[before]))


def _fit(step: _Step, name: str) -> tuple[Result, float]:
    slope, u_slope, r_squared, used = _log_line(step, 0.0)
    if used < FEWEST_ON_THE_WAY:
        why = (
            f"Only {used} readings lie between 10 and 90 % of the step; log faster, at least five "
            "readings a second for a quick probe."
        )
        return NotShown(why), math.nan
    if slope >= 0:
        return NotShown("The probe did not approach the bath; repeat the dip."), r_squared
    tau_s = -1.0 / slope
    shifted, _, _, _ = _log_line(step, step.u_end_fraction)
    by_end = abs(-1.0 / shifted - tau_s) if shifted < 0 else tau_s
    u = math.hypot(u_slope * tau_s**2, by_end)
    return Quantity(tau_s, "s", u, "slope of the logarithm, 10-90 %", (f"dip of {name}",)), (
        r_squared
    )


def _log_line(step: _Step, end_shift: float) -> tuple[float, float, float, int]:
    """Return slope, its u, R squared and the number of readings of the logarithm's line."""
    left = 1.0 + end_shift - step.share
    reached_s = _reached(step, 0.9)
    inside = (step.share >= 0.1) & (step.share <= 0.9)
    inside &= (step.time_s > step.start_s) & (step.time_s <= reached_s)
    used = int(np.count_nonzero(inside))
    if used < 3:
        return math.nan, math.nan, math.nan, used
    x, y, w = step.time_s[inside], np.log(left[inside]), left[inside] ** 2
    x_mean, y_mean = np.average(x, weights=w), np.average(y, weights=w)
    dx, dy = x - x_mean, y - y_mean
    sxx = float(np.sum(w * dx * dx))
    slope = float(np.sum(w * dx * dy)) / sxx
    residual = dy - slope * dx
    total = float(np.sum(w * dy * dy))
    unexplained = float(np.sum(w * residual**2))
    u_slope = math.sqrt(unexplained / (used - 2) / sxx)
    return slope, u_slope, 1.0 - unexplained / total, used


def _area(step: _Step, name: str) -> Quantity:
    after = step.time_s > step.start_s
    time_s = np.concatenate(([step.start_s], step.time_s[after]))
    left = np.concatenate(([1.0], 1.0 - step.share[after]))
    area_s = float(np.trapezoid(left, time_s))
    u = math.hypot(step.u_start_s, step.u_end_fraction * float(time_s[-1] - time_s[0]))
    return Quantity(area_s, "s", u, "area above the step response", (f"dip of {name}",))


def _refusal(ratio: float, r_squared: float) -> NotShown | None:
    low, high = CLEAN_DIP_LIMITS
    if not low <= ratio <= high:
        return NotShown(
            f"t90/t50 is {ratio:.1f}, outside {low}-{high}: the dip was not a clean step; plunge "
            "in one movement into a stirred bath and repeat."
        )
    low, high = FIRST_ORDER_LIMITS
    if not low <= ratio <= high:
        return NotShown(
            f"t90/t50 is {ratio:.1f}, and a first-order probe has {FIRST_ORDER_RATIO:.2f}: one "
            "time constant would not undo this probe's lag."
        )
    if not math.isnan(r_squared) and r_squared < LEAST_R_SQUARED:
        return NotShown(
            f"The logarithm of the response is no line (R squared {r_squared:.3f}); stir the bath "
            "and repeat."
        )
    return None
