# SPDX-License-Identifier: MIT
"""What the heat did to the milk: equivalent times, the highest temperature, times above limits.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Curve, Floats
from api.process.hold_values import JudgedValues, judged_values
from api.process.ingredient_rows import Status
from api.process.lethality import Reference, lethality_s
from api.process.quantities import NotShown, Quantity, Result, Verdict

LONGEST_STEP_S = 30.0
LONGEST_STEP_INTERVALS = 3.0


@dataclass(frozen=True, slots=True)
class HeatTreatment:
    """A stretch of readings against one reference.

    Attributes:
        reference: What it is measured against.
        equivalent: Equivalent time at the reference temperature; u is half of what the
            temperature's own u makes of it either way [s].
        at_least_s: With every temperature two standard uncertainties lower [s].
        at_most_s: With every temperature two higher, gaps left out [s].
        gap_s: Time in gaps, in which nothing is counted [s].
        verdict: Met, not met, or not shown.
        why: The verdict in words.
    """

    reference: Reference
    equivalent: Result
    at_least_s: float
    at_most_s: float
    gap_s: float
    verdict: Verdict
    why: str


def heat_treatment(curve: Curve, reference: Reference) -> HeatTreatment:
    """Return the equivalent time of a stretch of readings, and whether it is enough.

    Args:
        curve: Calibrated readings from the coldest place in the milk [degC].
        reference: What it is measured against.

    Returns:
        Equivalent time [s], its bounds, and a verdict that nothing but readings makes "met" and
        no gap makes "not met".

    Source:
        Exact integral of the log-linear rate (definition). An error d of the temperature is a
        factor 10^(d/z) (definition), taken at twice the standard uncertainty; JCGM 106:2012 for
        the guard band (from memory).
    """
    judged = judged_values(curve)
    steps = np.diff(judged.time_s)
    gaps = steps > _longest_step_s(curve)
    gap_s = float(np.sum(steps[gaps])) if steps.size else 0.0
    if len(curve) < 2 or bool(np.all(gaps)):
        missing = NotShown("No two readings follow each other closely enough.")
        return HeatTreatment(
            reference, missing, 0.0, math.inf, gap_s, Verdict.NOT_SHOWN, missing.why
        )
    best, low, high = (
        float(np.sum(_counted(reference, judged, shift, gaps))) for shift in (0.0, -2.0, 2.0)
    )
    verdict, why = _verdict(reference, (low, high), gap_s)
    equivalent = Quantity(
        value=best,
        unit="s",
        u=(high - low) / 4.0,
        method=f"integral of 10^((T - {reference.temperature_degc:g})/z)",
        sources=(curve.name or "milk probe", reference.source, judged.basis),
    )
    return HeatTreatment(reference, equivalent, low, high, gap_s, verdict, why)


def highest(curve: Curve) -> Result:
    """Return the highest temperature that the milk reached for a while.

    Args:
        curve: Calibrated readings [degC].

    Returns:
        Highest median of five readings that follow each other, the lag undone where it is known
        [degC]. NotShown with fewer than five.

    Source:
        Definition; a median of five so that a single reading makes no maximum.
    """
    if len(curve) < 5:
        return NotShown(f"The probe has {len(curve)} readings; five in a row show a maximum.")
    judged = judged_values(curve)
    windows = np.lib.stride_tricks.sliding_window_view(judged.value, 5)
    close = judged.time_s[4:] - judged.time_s[:-4] <= 4.0 * _longest_step_s(curve)
    if not close.any():
        return NotShown("No five readings follow each other closely enough.")
    middles = np.where(close, np.median(windows, axis=1), -np.inf)
    at = int(np.argmax(middles))
    return Quantity(
        value=float(middles[at]),
        unit="degC",
        u=float(judged.u[at + 2]),
        method="highest median of five readings",
        sources=(curve.name or "milk probe", judged.basis),
    )


def time_at_or_above(curve: Curve, temperature_degc: float) -> Result:
    """Return how long the milk was at or above a temperature.

    Args:
        curve: Calibrated readings [degC].
        temperature_degc: The limit [degC].

    Returns:
        Time between interpolated crossings, gaps not counted; u is half of what twice the
        temperature's u makes of it [s]. NotShown without two readings that follow closely.

    Source:
        Straight lines between readings (definition); JCGM 100:2008, 5.1.
    """
    judged = judged_values(curve)
    steps = np.diff(judged.time_s)
    gaps = steps > _longest_step_s(curve)
    if len(curve) < 2 or bool(np.all(gaps)):
        return NotShown("No two readings follow each other closely enough.")
    best, low, high = (
        float(np.sum(_above(judged, temperature_degc, shift)[~gaps])) for shift in (0.0, -2.0, 2.0)
    )
    return Quantity(
        value=best,
        unit="s",
        u=max(high - best, best - low) / 2.0,
        method=f"time at or above {temperature_degc:g} degC, gaps left out",
        sources=(curve.name or "milk probe", judged.basis),
    )


def _longest_step_s(curve: Curve) -> float:
    usual = curve.usual_interval_s
    return max(LONGEST_STEP_INTERVALS * usual, LONGEST_STEP_S) if math.isfinite(usual) else 0.0


def _counted(
    reference: Reference, judged: JudgedValues, shift: float, gaps: NDArray[np.bool_]
) -> Floats:
    steps = lethality_s(reference, judged.time_s, judged.value + shift * judged.u)
    return np.where(gaps, 0.0, steps)


def _above(judged: JudgedValues, limit_degc: float, shift: float) -> Floats:
    over = judged.value + shift * judged.u - limit_degc
    low, high = np.minimum(over[:-1], over[1:]), np.maximum(over[:-1], over[1:])
    span = np.maximum(high - low, 1e-12)
    share: Floats = np.where(low >= 0, 1.0, np.where(high < 0, 0.0, high / span))
    return share * np.diff(judged.time_s)


def _verdict(
    reference: Reference, bounds_s: tuple[float, float], gap_s: float
) -> tuple[Verdict, str]:
    low_s, high_s = bounds_s
    asked = f"{reference.required_s / 60.0:g} min at {reference.temperature_degc:g} degC"
    found = f"between {low_s / 60.0:.3g} and {high_s / 60.0:.3g} min"
    if reference.status is not Status.SEEN:
        return Verdict.NOT_SHOWN, (
            f"Equivalent to {found}; {asked} is known {reference.status.value} only and decides "
            "nothing."
        )
    if low_s >= reference.required_s:
        return Verdict.MET, f"Equivalent to {found}; {asked} is asked for."
    if high_s < reference.required_s and gap_s == 0.0:
        return Verdict.NOT_MET, f"Equivalent to {found}; {asked} is asked for."
    gap = f", with {gap_s:.0f} s in gaps" if gap_s else ""
    return Verdict.NOT_SHOWN, f"Equivalent to {found}{gap}; that does not show {asked}."
