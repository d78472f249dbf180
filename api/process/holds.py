# SPDX-License-Identifier: MIT
"""The verdict on a hold: met, not met, not shown, or still running.

Safety counts time only where the value lies inside the band by twice its uncertainty, and never
joins across a gap. Quality takes the best value and may bridge a gap that can hide nothing. A mark
says which stretch is meant; only readings make a verdict. Pure: numpy and what is pure only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from api.process.curves import Curve
from api.process.hold_evidence import evidence_of
from api.process.hold_margin import margin_of, worst_excursion
from api.process.hold_spec import (
    BAND,
    Basis,
    Excursion,
    Gap,
    HoldResult,
    HoldSpec,
    Margin,
    Unusable,
    required_text,
)
from api.process.hold_time import Band, longest_of, reached_s, total_s
from api.process.hold_values import PLAUSIBLE_LAG_S, judged_values
from api.process.hold_view import HoldView, Spans, Window, gaps_of, view_of
from api.process.quantities import NotShown, Quantity, Result, Verdict

__all__ = [
    "BAND",
    "Basis",
    "Excursion",
    "Gap",
    "HoldResult",
    "HoldSpec",
    "Margin",
    "Unusable",
    "judge_hold",
]

LEAST_GAP_S = 30.0
GAP_INTERVALS = 3.0
_PADDING_S = 300.0
_CLOSE_ENOUGH_S = 1e-6


def judge_hold(
    spec: HoldSpec,
    curve: Curve,
    start_s: float | None,
    end_s: float | None,
    now_s: float,
    *,
    boiling: Result | None = None,
    disturbed: Spans = (),
    unusable: Sequence[Unusable] = (),
    plausible_lag_s: float = PLAUSIBLE_LAG_S,
) -> HoldResult:
    """Return the verdict on a hold.

    Met: the time credited reaches the least. Not met: whatever can't be known could not make it
    long enough, or it is shown to be too long. Not shown: anything else, once it has ended.

    Args:
        spec: What is asked for.
        curve: Usable calibrated readings of the milk, lag not undone [degC].
        start_s: When the event that starts it was marked, or the earliest moment for one that
            starts in the band; None if there is none [s since 1970 UTC].
        end_s: When the event that ends it was marked, or the batch ended; None before that [s
            since 1970 UTC].
        now_s: Readings after this moment are not looked at [s since 1970 UTC].
        boiling: Local boiling point [degC], for a band stated below it.
        disturbed: Spans in which a pour, a stir, the lid or the probe could move the temperature
            faster than the pot can [s since 1970 UTC].
        unusable: Spans whose readings may not be used, with the reason.
        plausible_lag_s: Time constant of the probe taken where none is known [s].

    Returns:
        The verdict with its evidence; times [s since 1970 UTC], lengths [s].

    Source:
        Time counts between two valid readings inside the limit by their uncertainty and no further
        apart than the longest gap: common practice, after the guard band of JCGM 106:2012 (from
        memory). Gap bound: Lipschitz (computed).
    """
    band, u_band_k = _band(spec, boiling)
    if isinstance(band, NotShown):
        return _unjudged(spec, Verdict.NOT_SHOWN, band.why)
    curve = _usable(curve, now_s, unusable)
    window = _window(spec, curve, start_s, end_s, now_s)
    if isinstance(window, HoldResult):
        return window
    near = curve.between(window.start_s - _PADDING_S, window.start_s + window.length_s + _PADDING_S)
    values = judged_values(near, u_band_k, plausible_lag_s)
    view = view_of(spec, band, window, values, (disturbed, unusable))
    result = _judged(view, unusable, source=f"series {curve.name}" if curve.name else "readings")
    return replace(result, evidence=evidence_of(view, result, values.basis))


def _unjudged(spec: HoldSpec, verdict: Verdict, why: str) -> HoldResult:
    return HoldResult(spec.name, required_text(spec), verdict, spec.basis, evidence=(why,))


def _band(spec: HoldSpec, boiling: Result | None) -> tuple[Band | NotShown, float]:
    if spec.below_boiling_k is None:
        return Band(spec.low_degc, spec.high_degc), 0.0
    if isinstance(boiling, Quantity):
        return Band(boiling.value - spec.below_boiling_k, spec.high_degc), boiling.u
    why = boiling.why if boiling is not None else "Neither altitude nor pressure is known."
    return NotShown(f"The local boiling point can't be told: {why}"), 0.0


def _usable(curve: Curve, now_s: float, unusable: Sequence[Unusable]) -> Curve:
    keep = curve.time_s <= now_s
    for span in unusable:
        keep &= (curve.time_s < span.start_s) | (curve.time_s > span.end_s)
    return replace(curve, time_s=curve.time_s[keep], value=curve.value[keep])


def _window(
    spec: HoldSpec, curve: Curve, start_s: float | None, end_s: float | None, now_s: float
) -> Window | HoldResult:
    ended = end_s is not None and end_s <= now_s
    pending = Verdict.NOT_SHOWN if ended else Verdict.RUNNING
    if spec.start == BAND:
        if len(curve) == 0:
            return _unjudged(spec, pending, "There is no reading of the milk.")
        first_s = float(curve.time_s[0])
        start_s = first_s if start_s is None else max(start_s, first_s)
    elif start_s is None or start_s > now_s:
        return _unjudged(spec, pending, f"Its clock has not started: no {spec.start} is marked.")
    until_s = end_s if end_s is not None and ended else now_s
    if spec.end is None and len(curve):
        until_s = min(until_s, float(curve.time_s[-1]))
    if until_s < start_s or (ended and until_s == start_s):
        why = f"Its end ({spec.end or 'the last reading'}) does not lie after its start."
        return _unjudged(spec, pending, why)
    usual_s = curve.usual_interval_s
    longest_step_s = LEAST_GAP_S if np.isnan(usual_s) else max(GAP_INTERVALS * usual_s, LEAST_GAP_S)
    return Window(start_s, until_s - start_s, ended, longest_step_s)


def _judged(view: HoldView, unusable: Sequence[Unusable], source: str) -> HoldResult:
    window, spec = view.window, view.spec
    credited, best = view.credited(), view.best()
    verdict = _verdict(view, clock_in_doubt=_clock_in_doubt(window, unusable))
    reached = reached_s(credited, spec.least_s, unbroken=spec.unbroken)
    entered_s, left_s = (best[0][0], best[-1][1]) if best else (None, None)
    is_read = ~np.isnan(view.segments.value[1])
    last_s = float(np.max(view.segments.clipped_s[1][is_read], initial=0.0))
    gaps = gaps_of(view, unusable)
    if verdict is Verdict.MET and spec.start == BAND and entered_s is not None:
        gaps = tuple(g for g in gaps if g.start_s + g.length_s > window.start_s + entered_s)
    stretch = longest_of(credited)
    begin_s = entered_s if spec.start == BAND and entered_s is not None else 0.0
    until_s = left_s if spec.end is None and left_s is not None else window.length_s
    return HoldResult(
        hold=spec.name,
        required=required_text(spec),
        verdict=verdict,
        basis=spec.basis,
        started_s=_started_s(view, entered_s),
        ended_s=window.start_s + window.length_s if window.ended else None,
        held_s=total_s(credited),
        longest_unbroken_s=stretch[1] - stretch[0],
        possible_s=view.measure_s(view.possible()),
        reached_s=None if reached is None else window.start_s + reached,
        entered_s=None if entered_s is None else window.start_s + entered_s,
        left_s=window.start_s + left_s if left_s is not None and left_s < last_s else None,
        gaps=gaps,
        gap_s=float(sum(gap.length_s for gap in gaps)),
        worst=worst_excursion(view, begin_s, until_s),
        margin=margin_of(view, source),
    )


def _started_s(view: HoldView, entered_s: float | None) -> float | None:
    if view.spec.start != BAND:
        return view.window.start_s
    return None if entered_s is None else view.window.start_s + entered_s


def _clock_in_doubt(window: Window, unusable: Sequence[Unusable]) -> bool:
    end_s = window.start_s + window.length_s
    return any(
        span.time_uncertain and span.end_s >= window.start_s and span.start_s <= end_s
        for span in unusable
    )


def _verdict(view: HoldView, *, clock_in_doubt: bool) -> Verdict:
    """Return the verdict; where the clock is in doubt, nothing that passed can be called short."""
    spec = view.spec
    credited_s = view.measure_s(view.credited())
    possible_s = view.measure_s(view.possible())
    enough = credited_s >= spec.least_s - _CLOSE_ENOUGH_S
    if spec.longest_s is not None and credited_s > spec.longest_s + _CLOSE_ENOUGH_S:
        return Verdict.NOT_MET
    if spec.longest_s is None and enough:
        return Verdict.MET
    if not view.window.ended:
        return Verdict.RUNNING
    if clock_in_doubt:
        return Verdict.NOT_SHOWN
    if possible_s < spec.least_s - _CLOSE_ENOUGH_S:
        return Verdict.NOT_MET
    if enough and spec.longest_s is not None and possible_s <= spec.longest_s:
        return Verdict.MET
    return Verdict.NOT_SHOWN
