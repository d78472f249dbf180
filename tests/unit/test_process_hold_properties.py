# SPDX-License-Identifier: MIT
"""What must hold for any curve, any gaps and any hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from api.process.curves import Curve, Floats
from api.process.hold_time import Band, longest_of, segments_of, stretches_within, total_s
from api.process.holds import Basis, HoldResult, HoldSpec, judge_hold
from api.process.quantities import Verdict

STEP_S = 5.0
# No steeper than the slope a pot is reckoned to have, 3 K/min: 0.25 K in each 5 s.
STEEPEST_STEP_K = 0.25


@st.composite
def truths(draw: st.DrawFn) -> Floats:
    """Draw a temperature every 5 s for 20 min, near 65 degC, no steeper than 3 K/min."""
    seed = draw(st.integers(0, 2**32 - 1))
    start = draw(st.floats(64.0, 69.0))
    slow = draw(st.integers(1, 40))
    rng = np.random.default_rng(seed)
    knots = rng.uniform(-STEEPEST_STEP_K, STEEPEST_STEP_K, size=240 // slow + 2)
    steps = np.repeat(knots, slow)[:239]
    truth: Floats = start + np.r_[0.0, np.cumsum(steps)]
    return truth


holds = st.builds(
    HoldSpec,
    name=st.just("stand"),
    least_s=st.floats(60.0, 1000.0),
    low_degc=st.just(65.0),
    high_degc=st.sampled_from([None, 70.0]),
    start=st.sampled_from(["cover", "band"]),
    end=st.just("ladle"),
    unbroken=st.booleans(),
    basis=st.sampled_from(Basis),
)
# Six lost readings leave 35 s between their neighbours, more than is ever joined.
gaps = st.lists(st.tuples(st.integers(1, 235), st.integers(6, 30)), max_size=3)


@st.composite
def cases(draw: st.DrawFn) -> tuple[Floats, list[tuple[int, int]]]:
    """Draw a truth with lost readings: any truth, or a flat one that dips where nobody looks."""
    lost = draw(gaps)
    if draw(st.booleans()):
        return draw(truths()), lost
    truth: Floats = np.full(240, draw(st.floats(65.1, 67.0)))
    sign = draw(st.sampled_from([-1.0, 1.0]))
    for first, count in lost:
        last = min(first + count, 240)
        inward = np.minimum(np.arange(1, last - first + 1), np.arange(last - first, 0, -1))
        dip = truth[0] + sign * STEEPEST_STEP_K * inward
        truth[first:last] = (
            np.minimum(truth[first:last], dip) if sign < 0 else np.maximum(truth[first:last], dip)
        )
    return truth, lost


def seen(truth: Floats, lost: list[tuple[int, int]], shift_s: float = 0.0) -> Curve:
    time_s = STEP_S * np.arange(truth.size, dtype=np.float64)
    keep = np.ones(truth.size, dtype=bool)
    for first, count in lost:
        keep[first : first + count] = False
    return Curve(shift_s + time_s[keep], truth[keep], name="north/milk")


def truly_held_s(spec: HoldSpec, truth: Floats) -> float:
    time_s = STEP_S * np.arange(truth.size, dtype=np.float64)
    pieces = segments_of(time_s, (truth, np.zeros_like(truth)), float(time_s[-1]), 2 * STEP_S)
    stretches = stretches_within(pieces, Band(spec.low_degc, spec.high_degc), 0.0)
    start, end = longest_of(stretches)
    return end - start if spec.unbroken else total_s(stretches)


def judge(spec: HoldSpec, curve: Curve, shift_s: float = 0.0) -> HoldResult:
    end_s = STEP_S * 239 + shift_s
    return judge_hold(spec, curve, shift_s, end_s, end_s)


@settings(max_examples=120, deadline=None)
@given(cases(), holds)
def test_a_hold_is_never_met_nor_missed_when_a_gap_could_hide_the_opposite(
    case: tuple[Floats, list[tuple[int, int]]], spec: HoldSpec
) -> None:
    truth, lost = case
    result = judge(spec, seen(truth, lost))

    held_s = truly_held_s(spec, truth)
    if result.verdict is Verdict.MET:
        assert held_s >= spec.least_s - 1e-3
    if result.verdict is Verdict.NOT_MET:
        assert held_s < spec.least_s + 1e-3


@settings(max_examples=40, deadline=None)
@given(truths(), holds, gaps)
def test_safety_is_never_easier_than_quality(
    truth: Floats, spec: HoldSpec, lost: list[tuple[int, int]]
) -> None:
    curve = seen(truth, lost)
    safety = judge(replace(spec, basis=Basis.SAFETY), curve)
    quality = judge(replace(spec, basis=Basis.QUALITY), curve)

    assert safety.held_s <= quality.held_s + 1e-6
    if safety.verdict is Verdict.MET:
        assert quality.verdict is Verdict.MET


@settings(max_examples=40, deadline=None)
@given(truths(), holds, gaps)
def test_what_is_credited_is_possible_and_what_is_counted_lies_in_the_window(
    truth: Floats, spec: HoldSpec, lost: list[tuple[int, int]]
) -> None:
    result = judge(spec, seen(truth, lost))

    counted_s = result.longest_unbroken_s if spec.unbroken else result.held_s
    assert counted_s <= result.possible_s + 1e-6
    assert result.longest_unbroken_s <= result.held_s + 1e-6
    assert 0.0 <= result.held_s <= STEP_S * 239 + 1e-6
    unbridged_s = sum(gap.length_s for gap in result.gaps if not gap.bridged)
    assert result.held_s + unbridged_s <= STEP_S * 239 + 1e-6


@settings(max_examples=40, deadline=None)
@given(truths(), holds, gaps, st.integers(-2_000_000_000, 2_000_000_000))
def test_shifting_all_times_changes_nothing(
    truth: Floats, spec: HoldSpec, lost: list[tuple[int, int]], shift_s: int
) -> None:
    here = judge(spec, seen(truth, lost))
    there = judge(spec, seen(truth, lost, float(shift_s)), float(shift_s))

    assert there.verdict is here.verdict
    assert there.evidence == here.evidence
    assert abs(there.held_s - here.held_s) < 1e-4
    for moment in ("entered_s", "left_s", "started_s", "reached_s"):
        now, then = getattr(here, moment), getattr(there, moment)
        assert (now is None) == (then is None)
        assert now is None or abs(then - now - shift_s) < 1e-4
    assert [g.length_s for g in there.gaps] == [g.length_s for g in here.gaps]


@settings(max_examples=30, deadline=None)
@given(truths(), holds, gaps, st.integers(60, 1190))
def test_a_running_hold_never_says_that_it_was_missed(
    truth: Floats, spec: HoldSpec, lost: list[tuple[int, int]], now_s: int
) -> None:
    result = judge_hold(spec, seen(truth, lost), 0.0, None, float(now_s))

    assert result.verdict in (Verdict.RUNNING, Verdict.MET)
