# SPDX-License-Identifier: MIT
"""Before, after and indicated: from what was fitted to quantities with their whole uncertainty.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.curves import Curve, Floats
from api.process.pour_average import PourFit
from api.process.pour_readings import PourReadings
from api.process.quantities import NotShown, Quantity, Result
from api.process.smoothing import noise

# What a probe may lag where nobody checked it: what the dip shows, within these, and 15 s where no
# dip shows anything (published response times of sheathed probes of 3 to 6 mm in water, t90 3 to
# 25 s, second hand).
PLAUSIBLE_LAGS_S = (5.0, 20.0)
UNSEEN_LAG_S = 15.0
# How far stirring leaves the milk round the probe from the mean of the pot (common practice). As a
# share of the drop: slurry that mixes in unevenly (by simulation). After the pour there is besides
# the heat of the pot's wall, which comes in the half minute after it.
UNEVEN_K = 0.02
UNEVEN_BEFORE_FRACTION, UNEVEN_AFTER_FRACTION = 0.02, 0.02
# By how much the first slurry may reach the probe later than it enters the pot (common practice).
ONSET_U_S = 2.5
FARTHEST_READING_S = 90.0
FEWEST_READINGS = 4
GREATEST_U_K = 3.0
INDICATED_GAP_S = 30.0


@dataclass(frozen=True, slots=True)
class Sides:
    """Both sides of a pour.

    Attributes:
        before: Milk at the start of the pour [degC].
        after: Mixture at its end [degC].
        covariance: Of the two, without what is common to all readings [K2], shape (2, 2).
        u_common_k: Standard uncertainty common to all readings [K].
    """

    before: Result
    after: Result
    covariance: Floats
    u_common_k: float


def indicated_at(curve: Curve, time_s: float) -> Result:
    """Return what the probe showed at a moment, between two readings.

    Args:
        curve: Calibrated readings [degC].
        time_s: The moment [s since 1970 UTC].

    Returns:
        The indication, lag and all; u from calibration, display and noise [degC]. NotShown where
        no readings lie on both sides, or they are too far apart.

    Source:
        Linear interpolation (definition); JCGM 100:2008, F.2.2.1 for the display.
    """
    after = int(np.searchsorted(curve.time_s, time_s, side="left"))
    if after < len(curve) and curve.time_s[after] == time_s:
        value = float(curve.value[after])
    elif 0 < after < len(curve):
        gap_s = float(curve.time_s[after] - curve.time_s[after - 1])
        if gap_s > max(3.0 * curve.usual_interval_s, INDICATED_GAP_S):
            return NotShown(f"The mark lies in a gap of {gap_s:.0f} s between two readings.")
        value = float(np.interp(time_s, curve.time_s, curve.value))
    else:
        return NotShown("The probe has no readings on both sides of the mark.")
    display = curve.resolution / math.sqrt(12.0)
    return Quantity(
        value=value,
        unit="degC",
        u=math.sqrt(
            curve.u_calibration**2
            + display**2
            + noise(curve.between(time_s - 120.0, time_s + 120.0)) ** 2
        ),
        method="readings round the mark, interpolated",
        sources=(curve.name or "milk probe", "mark of the addition"),
    )


def sides(curve: Curve, fit: PourFit, wall_fraction: float, u_mark_s: float) -> Sides:
    """Return both sides of a pour with everything that makes them uncertain.

    Args:
        curve: The probe: calibration, display, time constant [degC].
        fit: What was fitted to its readings [degC].
        wall_fraction: Heat of the pot's wall as a share of the milk's [-].
        u_mark_s: Standard uncertainty of the moment if the mark alone gave it, else 0 [s].

    Returns:
        Before and after with their covariance [degC, K2].

    Source:
        JCGM 100:2008, 5.1 and 5.2. On a steady slope a probe trails by slope times time constant
        (definition).
    """
    display = curve.resolution / math.sqrt(12.0)
    own = np.array(
        [
            [UNEVEN_K, UNEVEN_BEFORE_FRACTION * fit.drop_k, 0.0, display],
            [UNEVEN_K, UNEVEN_AFTER_FRACTION * fit.drop_k, wall_fraction * fit.drop_k, display],
        ]
    )
    # The slope errs on both sides alike: a late mark or a lag is late or lags on both.
    slopes = np.array([fit.slope_before_k_per_s, fit.slope_after_k_per_s])
    covariance = fit.covariance + np.diag(np.sum(own**2, axis=1))
    placed = u_mark_s == 0.0
    u_moment_s = ONSET_U_S if placed else u_mark_s
    covariance += u_moment_s**2 * np.outer(slopes, slopes)
    trailing = slopes * curve.u_time_constant_s * (0.0 if placed else 1.0)
    if curve.time_constant_s is None:
        low, high = PLAUSIBLE_LAGS_S
        lag_s = min(max(fit.lag_s, low), high) if placed else UNSEEN_LAG_S
        steepest = max(abs(fit.slope_before_k_per_s), abs(fit.slope_earlier_k_per_s))
        trailing = np.full(2, lag_s * steepest)
    covariance += np.outer(trailing, trailing)
    u = np.sqrt(np.diag(covariance) + curve.u_calibration**2)
    sources = _sources(curve, placed=placed)
    moment = "pour" if placed else "mark"
    before = Quantity(
        fit.before_degc, "degC", float(u[0]), f"readings before, carried to the {moment}", sources
    )
    after = Quantity(
        fit.after_degc,
        "degC",
        float(u[1]),
        f"readings after, carried back to the {moment}",
        sources,
    )
    return Sides(before, after, covariance, curve.u_calibration)


def sides_not_shown(both: Sides, readings: PourReadings, fit: PourFit) -> Sides:
    """Return the sides without one that no readings near enough stand behind.

    Args:
        both: As computed [degC].
        readings: Round the mark [s, degC].
        fit: Says when the pour was [s].

    Returns:
        The same, a side replaced by NotShown where fewer than four readings lie within two minutes
        of the pour on that side, the nearest is more than 90 s away, or its u is above 3 K [degC].

    Source:
        Definition; the limits are ours.
    """
    start_s, end_s = fit.start_s, fit.end_s
    before = _near(readings.time_s, start_s - 120.0, start_s, start_s)
    after = _near(readings.time_s, end_s, end_s + 120.0, end_s)
    return replace(
        both,
        before=_shown(both.before, before, "before"),
        after=_shown(both.after, after, "after"),
    )


def _near(time_s: Floats, from_s: float, to_s: float, pour_s: float) -> str:
    near = time_s[(time_s >= from_s) & (time_s <= to_s)]
    if near.size < FEWEST_READINGS:
        return f"only {near.size} readings within two minutes"
    nearest_s = float(np.min(np.abs(near - pour_s)))
    if nearest_s > FARTHEST_READING_S:
        return f"the nearest reading is {nearest_s:.0f} s away"
    return ""


def _shown(result: Result, lacking: str, side: str) -> Result:
    if isinstance(result, NotShown):
        return result
    if lacking:
        return NotShown(f"Too little is known of the milk {side} the pour: {lacking}.")
    if result.u > GREATEST_U_K:
        return NotShown(
            f"The readings {side} the pour leave {result.u:.1f} K of standard uncertainty, which "
            "says nothing; see whether the probe was in the milk."
        )
    return result


def _sources(curve: Curve, *, placed: bool) -> tuple[str, ...]:
    name = curve.name or "milk probe"
    said = [name, "mark of the addition"]
    if curve.time_constant_s is not None:
        said.append(f"lag of {curve.time_constant_s:.1f} s undone")
    elif placed:
        said.append("assumed: lag as the dip shows it, not undone")
    else:
        said.append(f"assumed: lag up to {UNSEEN_LAG_S:.0f} s, not undone")
    return tuple(said)
