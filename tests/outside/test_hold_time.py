# SPDX-License-Identifier: MIT
"""Time in a band against exact crossings, a brute-force grid, and known probe lag."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from api.process.curves import Curve, Floats
from api.process.hold_time import (
    Band,
    bounds_in_gaps,
    reached_s,
    segments_of,
    stretches_within,
    total_s,
)
from api.process.holds import Basis, HoldSpec, judge_hold
from api.process.quantities import Quantity, Verdict


@pytest.mark.parametrize(
    ("ends_degc", "steepest_k_per_min", "length_min", "lowest_degc"),
    # Lipschitz bound (T1 + T2)/2 - r t/2, worked by hand: computed.
    [
        ((85.0, 85.0), 2.0, 3.0, 82.0),
        ((85.0, 84.0), 1.0, 4.0, 82.5),
        ((90.0, 88.0), 3.0, 2.0, 86.0),
    ],
)
def test_the_lowest_value_that_a_gap_can_hide(
    ends_degc: tuple[float, float],
    steepest_k_per_min: float,
    length_min: float,
    lowest_degc: float,
) -> None:
    length_s = 60.0 * length_min
    readings = (np.array(ends_degc), np.zeros(2))
    pieces = segments_of(np.array([0.0, length_s]), readings, length_s, 30.0)

    lowest, _ = bounds_in_gaps(pieces, steepest_k_per_min / 60.0)

    assert lowest[0] == pytest.approx(lowest_degc, abs=1e-9)


def test_a_curve_steeper_than_the_bound_still_hides_nothing_above_its_lower_end() -> None:
    pieces = segments_of(np.array([0.0, 60.0]), (np.array([90.0, 60.0]), np.zeros(2)), 60.0, 30.0)

    lowest, highest = bounds_in_gaps(pieces, 1.0 / 60.0)

    assert lowest[0] <= 60.0  # definition: both ends were read
    assert highest[0] >= 90.0


def test_a_straight_rise_enters_and_leaves_exactly_where_it_crosses() -> None:
    """T = 60 + 0.01 t read every 7 s enters 65 at 500 s and leaves 70 at 1000 s: exact."""
    time_s = np.arange(0.0, 1400.0, 7.0)
    pieces = segments_of(time_s, (60 + 0.01 * time_s, np.zeros_like(time_s)), 1300.0, 30.0)

    stretches = stretches_within(pieces, Band(65.0, 70.0), 0.0)

    assert len(stretches) == 1
    assert stretches[0] == pytest.approx((500.0, 1000.0), abs=1e-9)
    # With u = 0.1 K and a guard of two of them: 520 s and 980 s, exact.
    guarded = segments_of(time_s, (60 + 0.01 * time_s, np.full_like(time_s, 0.1)), 1300.0, 30.0)
    assert stretches_within(guarded, Band(65.0, 70.0), 2.0)[0] == pytest.approx((520.0, 980.0))
    assert stretches_within(guarded, Band(65.0, 70.0), -2.0)[0] == pytest.approx((480.0, 1020.0))


@settings(max_examples=60, deadline=None)
@given(
    arrays(np.float64, 25, elements=st.floats(60.0, 70.0)),
    st.floats(0.0, 100.0),
    st.floats(150.0, 240.0),
)
def test_time_in_band_agrees_with_a_fine_grid(value: Floats, start_s: float, end_s: float) -> None:
    """Brute force: 200,000 points by numpy's interpolation; two crossings in each piece at most."""
    time_s = 10.0 * np.arange(25, dtype=np.float64)
    grid_s = np.linspace(start_s, end_s, 200_001)
    on_grid = np.interp(grid_s, time_s, value)
    counted_s = float(np.mean((on_grid >= 64.0) & (on_grid <= 67.0))) * (end_s - start_s)

    pieces = segments_of(time_s - start_s, (value, np.zeros(25)), end_s - start_s, 30.0)
    found_s = total_s(stretches_within(pieces, Band(64.0, 67.0), 0.0))

    assert found_s == pytest.approx(counted_s, abs=60 * (end_s - start_s) / 200_000)


def test_the_moment_when_enough_has_been_shown() -> None:
    stretches = ((0.0, 100.0), (150.0, 400.0))

    assert reached_s(stretches, 90.0, unbroken=True) == 90.0
    assert reached_s(stretches, 200.0, unbroken=True) == 350.0
    assert reached_s(stretches, 200.0, unbroken=False) == 250.0
    assert reached_s(stretches, 351.0, unbroken=False) is None


def lagging(time_s: Floats, rate_k_per_s: float, tau_s: float) -> Floats:
    """Return what a first-order probe shows on a ramp from 80 degC, started when both agree.

    Closed form: T_ind = 80 + r (t - tau (1 - exp(-t / tau))).
    """
    shown: Floats = 80.0 + rate_k_per_s * (time_s - tau_s * (1.0 - np.exp(-time_s / tau_s)))
    return shown


@pytest.mark.parametrize("basis", [Basis.SAFETY, Basis.QUALITY])
@pytest.mark.parametrize("tau_s", [8.0, 15.0])
def test_a_known_lag_on_falling_milk_is_undone(basis: Basis, tau_s: float) -> None:
    """80 degC falling by 3 K/min lies below 65 degC from 300 s on: exact."""
    time_s = np.arange(0.0, 500.0)
    shown = lagging(time_s, -0.05, tau_s)
    curve = Curve(time_s, shown, time_constant_s=tau_s, u_time_constant_s=0.1)
    spec = HoldSpec("stand", 100.0, low_degc=65.0, start="cover", end="ladle", basis=basis)

    result = judge_hold(spec, curve, 60.0, 490.0, 490.0)

    assert result.left_s == pytest.approx(300.0, abs=0.2)
    assert result.held_s == pytest.approx(240.0, abs=1.0)
    assert result.verdict is Verdict.MET


@pytest.mark.parametrize("tau_s", [2.0, 8.0, 15.0])
def test_an_unknown_lag_never_credits_time_below_the_limit(tau_s: float) -> None:
    """The probe shows up to 0.75 K too much; the true crossing of 65 degC is at 300 s: exact."""
    time_s = np.arange(0.0, 500.0)
    curve = Curve(time_s, lagging(time_s, -0.05, tau_s))
    spec = HoldSpec("stand", 240.0, low_degc=65.0, start="cover", end="ladle")

    result = judge_hold(spec, curve, 60.0, 490.0, 490.0)

    assert result.held_s <= 240.0
    # Guard of two u with u = 0.05 K/s times 15 s, on a reading that is late by the lag: computed.
    assert result.held_s == pytest.approx(240.0 + tau_s - 30.0, abs=0.5)
    assert result.verdict is Verdict.NOT_SHOWN


def test_the_margin_of_a_steady_hold_is_its_distance_from_the_limit() -> None:
    """67.5 degC against 65 degC: 2.5 K; calibration 0.3 K and steps of 0.1 K: u by hand."""
    time_s = np.arange(0.0, 1000.0, 5.0)
    curve = Curve(time_s, np.full(200, 67.5), u_calibration=0.3, resolution=0.1)
    spec = HoldSpec("stand", 900.0, low_degc=65.0, start="cover", end="ladle")

    margin = judge_hold(spec, curve, 10.0, 990.0, 995.0).margin

    assert margin is not None
    assert isinstance(margin.temperature, Quantity)
    assert margin.temperature.value == pytest.approx(2.5, abs=1e-6)
    u = math.sqrt(0.3**2 + 0.1**2 / 12)  # JCGM 100:2008 F.2.2.1, from memory
    assert margin.temperature.u == pytest.approx(u, rel=1e-6)
    assert margin.time.value == pytest.approx(80.0)
