# SPDX-License-Identifier: MIT
"""The temperature at the addition: the milk before, the mixture after, and what became of the rest.

The mark only points at the pour. Where a dip stands out in the readings, it places the pour; where
none does, the temperatures are those at the mark, and the uncertainty says how little that is.
Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from api.process.addition_mixture import (
    AdditionInputs,
    Expected,
    expected_drop,
    expected_mixture,
    wall_fraction,
)
from api.process.addition_sides import Sides, indicated_at, sides, sides_not_shown
from api.process.curves import Curve
from api.process.pour_fit import fit_at_mark, fit_pour
from api.process.pour_readings import AFTER_S, BEFORE_S, PourReadings, readings_round
from api.process.pour_search import REACH, Found, Lag, Mark, find_dip
from api.process.quantities import NotShown, Quantity, Result
from collector.errors import ProcessError

MARK_U_S = 30.0
FEWEST_READINGS = 12


@dataclass(frozen=True, slots=True)
class AdditionMark:
    """When the maker said that the coagulant went in.

    Attributes:
        time_s: [s since 1970 UTC].
        u_time_s: Its standard uncertainty; a mark may be three of them late or early [s].
        earliest_s: The pour did not start before this: the end of a boil, an addition before it
            [s since 1970 UTC].
        latest_s: It had ended by this: the next addition, the ladle [s since 1970 UTC].
        latest_start_s: It had started by this [s since 1970 UTC].
    """

    time_s: float
    u_time_s: float = MARK_U_S
    earliest_s: float | None = None
    latest_s: float | None = None
    latest_start_s: float | None = None


@dataclass(frozen=True, slots=True)
class Addition:
    """One addition as the readings show it.

    Attributes:
        before: Milk at the start of the pour [degC].
        after: Mixture at the end of the pour [degC].
        indicated: What the probe showed at the mark [degC].
        predicted_after: Mixture by the balance of heat, had none come or gone [degC].
        loss: Predicted less after: heat lost in the pour; below 0 if the hob gave more [K].
        pour_start: [s since 1970 UTC].
        pour_end: [s since 1970 UTC].
        placed_by: Whether a dip in the curve placed the pour, or the mark alone.
        why: What placed it, and what was set aside or assumed, in words.
    """

    before: Result
    after: Result
    indicated: Result
    predicted_after: Result
    loss: Result
    pour_start: Result
    pour_end: Result
    placed_by: Literal["dip", "mark"]
    why: str


def temperature_at_addition(
    curve: Curve, mark: AdditionMark, inputs: AdditionInputs | None = None
) -> Addition:
    """Return the temperatures before and after one addition.

    Args:
        curve: Calibrated readings of the probe in the milk, from at least two minutes before
            the mark to three after it; with the probe's time constant if a dip check gave one
            [degC].
        mark: When the addition was marked [s since 1970 UTC].
        inputs: What was weighed and measured; the expected drop helps to tell the pour's dip
            from others, and never moves `before` or `after` [kg, degC].

    Returns:
        Temperatures, times and the loss, each with its standard uncertainty or the reason why it
        can't be shown [degC, s, K].

    Raises:
        ProcessError: The mark's uncertainty is not above 0, its limits cross, or a mass makes no
            sense.

    Source:
        First-order lag, linear drop and a slope that wanders, averaged over all pours that the
        readings allow (definition); JCGM 100:2008, 5 and F.2.2.1. Thresholds by simulation.
    """
    inputs = inputs or AdditionInputs()
    _check(mark)
    readings = _readings(curve, mark)
    indicated = indicated_at(curve, mark.time_s)
    if readings.time_s.size < FEWEST_READINGS:
        return _nothing(curve, mark, readings, indicated)
    lag = Lag(curve.time_constant_s, curve.u_time_constant_s)
    limits = _limits(mark)
    expected_k = _expected_drop(readings, inputs)
    found = find_dip(readings, lag, limits, expected_k)
    fit = None
    if found is not None and found.stands_out:
        fit = fit_pour(readings, lag, limits, found, expected_k)
    placed_by: Literal["dip", "mark"] = "mark" if fit is None else "dip"
    fit = fit or fit_at_mark(readings, lag, limits)
    if fit is None:
        return _nothing(curve, mark, readings, indicated)
    u_mark_s = mark.u_time_s if placed_by == "mark" else 0.0
    both = sides(curve, fit, wall_fraction(inputs), u_mark_s)
    both = sides_not_shown(both, readings, fit)
    return _with_balance(
        both,
        inputs,
        Addition(
            before=both.before,
            after=both.after,
            indicated=indicated,
            predicted_after=NotShown("Not computed."),
            loss=NotShown("Not computed."),
            pour_start=_moment(mark, fit.start_s, fit.u_start_s, placed_by, curve.name),
            pour_end=_moment(mark, fit.end_s, fit.u_end_s, placed_by, curve.name),
            placed_by=placed_by,
            why=_why(readings, found, placed_by, fit.start_s, curve),
        ),
    )


def _check(mark: AdditionMark) -> None:
    if not (math.isfinite(mark.time_s) and mark.u_time_s > 0):
        raise ProcessError(
            f"The mark lies at {mark.time_s:g} s, uncertain by {mark.u_time_s:g} s.",
            where="addition",
            do="Give a finite time, and a standard uncertainty above 0.",
        )
    early, late = _bounds(mark)
    if early >= late:
        raise ProcessError(
            f"The pour would have to end {early - late:g} s before it starts.",
            where="addition",
            do="Give an earliest moment that lies before the latest.",
        )


def _bounds(mark: AdditionMark) -> tuple[float, float]:
    early = -math.inf if mark.earliest_s is None else mark.earliest_s
    late = math.inf if mark.latest_s is None else mark.latest_s
    return early, late


def _limits(mark: AdditionMark) -> Mark:
    early, late = _bounds(mark)
    start = math.inf if mark.latest_start_s is None else mark.latest_start_s - mark.time_s
    return Mark(mark.u_time_s, early - mark.time_s, late - mark.time_s, start)


def _readings(curve: Curve, mark: AdditionMark) -> PourReadings:
    early, late = _bounds(mark)
    reach_s = REACH * mark.u_time_s
    return readings_round(
        curve,
        mark.time_s,
        max(early, mark.time_s - reach_s - BEFORE_S),
        min(late, mark.time_s + reach_s + AFTER_S),
    )


def _expected_drop(readings: PourReadings, inputs: AdditionInputs) -> tuple[float, float] | None:
    near = np.abs(readings.time_s) < 120.0
    if inputs.milk is None or not near.any():
        return None
    roughly = Quantity(float(np.median(readings.value[near])), "degC", 1.0, "near the mark")
    return expected_drop(roughly, inputs)


def _moment(
    mark: AdditionMark, at_s: float, u_s: float, placed_by: Literal["dip", "mark"], name: str
) -> Quantity:
    if placed_by == "mark":
        return Quantity(mark.time_s, "s", mark.u_time_s, "the mark", ("mark of the addition",))
    u = math.hypot(u_s, 0.5)
    sources = (name or "milk probe", "mark of the addition")
    return Quantity(mark.time_s + at_s, "s", u, "dip in the curve", sources)


def _with_balance(both: Sides, inputs: AdditionInputs, addition: Addition) -> Addition:
    before, after = both.before, both.after
    if isinstance(before, NotShown):
        missing = NotShown(f"The milk before the pour can't be shown: {before.why}")
        return replace(addition, predicted_after=missing, loss=missing)
    expected = expected_mixture(before, inputs)
    if isinstance(expected, NotShown):
        return replace(addition, predicted_after=expected, loss=expected)
    sources = ("before the pour", "weighings", *expected.mixture.sources)
    predicted = replace(expected.mixture, sources=tuple(dict.fromkeys(sources)))
    if isinstance(after, NotShown):
        missing = NotShown(f"The mixture can't be shown: {after.why}")
        return replace(addition, predicted_after=predicted, loss=missing)
    return replace(addition, predicted_after=predicted, loss=_loss(both, after, expected))


def _loss(both: Sides, after: Quantity, expected: Expected) -> Quantity:
    """Return predicted less after; what both share of an error partly cancels."""
    passed = np.array([expected.from_before_fraction, -1.0])
    apart = float(passed @ both.covariance @ passed)
    common = (1.0 - expected.from_before_fraction) * both.u_common_k
    return Quantity(
        value=expected.mixture.value - after.value,
        unit="K",
        u=math.sqrt(apart + common**2 + expected.u_apart_k**2),
        method="predicted mixture less what was found",
        sources=("predicted_after", "after"),
    )


def _nothing(
    curve: Curve, mark: AdditionMark, readings: PourReadings, indicated: Result
) -> Addition:
    why = (
        f"The probe has {readings.time_s.size} usable readings from two minutes before the mark to "
        "three after it, and too few on one side; see whether it was logging and in the milk."
    )
    missing = NotShown(why)
    at_mark = _moment(mark, 0.0, 0.0, "mark", curve.name)
    return Addition(missing, missing, indicated, missing, missing, at_mark, at_mark, "mark", why)


def _why(
    readings: PourReadings,
    found: Found | None,
    placed_by: Literal["dip", "mark"],
    start_s: float,
    curve: Curve,
) -> str:
    if placed_by == "dip" and found is not None:
        side = "after" if start_s >= 0 else "before"
        said = [
            f"A dip of {found.drop_k:.1f} K that starts {abs(start_s):.0f} s {side} the mark "
            "places the pour."
        ]
    else:
        said = ["No dip stands out near the mark, so the temperatures are those at the mark."]
    if curve.time_constant_s is None:
        said.append("The lag of the probe isn't known; the slope stands in the uncertainty.")
    if readings.lifted:
        said.append("Readings with the probe out of the milk were set aside.")
    if readings.spikes:
        said.append(f"{readings.spikes} single readings far from their neighbours were set aside.")
    return " ".join(said)
