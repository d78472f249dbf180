# SPDX-License-Identifier: MIT
"""Probe lag against exact responses, the printed smoothing tables, scipy, and Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import savgol_coeffs

from api.process.curves import Curve
from api.process.dip_check import FIRST_ORDER_RATIO, combined_time_constant, dip_check
from api.process.lag import unlagged, unlagged_live
from api.process.quantities import NotShown, Quantity
from api.process.smoothing import smoothing_coefficients


@pytest.mark.parametrize(
    ("points", "times", "printed"),
    [
        # Savitzky and Golay 1964, table I, quadratic smoothing (from memory).
        (5, 35, (-3, 12, 17, 12, -3)),
        (7, 21, (-2, 3, 6, 7, 6, 3, -2)),
        (9, 231, (-21, 14, 39, 54, 59, 54, 39, 14, -21)),
    ],
)
def test_smoothing_weights_are_those_of_the_printed_table(
    points: int, times: int, printed: tuple[int, ...]
) -> None:
    value, _ = smoothing_coefficients(points, 2, points // 2)

    assert times * value == pytest.approx(printed, abs=1e-9)


def test_slope_weights_of_five_points_are_those_of_the_printed_table() -> None:
    """(-2, -1, 0, 1, 2)/10: Savitzky and Golay 1964, table II (from memory)."""
    _, slope = smoothing_coefficients(5, 2, 2)

    assert 10 * slope == pytest.approx((-2, -1, 0, 1, 2), abs=1e-9)


@pytest.mark.parametrize(
    ("points", "degree", "position"), [(11, 2, 5), (11, 2, 0), (21, 2, 20), (7, 1, 6), (31, 2, 3)]
)
def test_weights_agree_with_scipy(points: int, degree: int, position: int) -> None:
    """Second library: scipy.signal.savgol_coeffs; computed."""
    value, slope = smoothing_coefficients(points, degree, position)

    assert value == pytest.approx(savgol_coeffs(points, degree, pos=position, use="dot"))
    assert slope == pytest.approx(savgol_coeffs(points, degree, 1, pos=position, use="dot"))


@pytest.mark.parametrize(
    ("points", "gain"),
    # sqrt(3/(h(h+1)(2h+1))) for white noise, m = 2h+1 points (exact).
    [(5, 0.316), (11, 0.0953), (21, 0.0360), (31, 0.0201), (61, 0.00727)],
)
def test_noise_gain_of_the_slope(points: int, gain: float) -> None:
    _, slope = smoothing_coefficients(points, 2, points // 2)

    assert float(np.linalg.norm(slope)) == pytest.approx(gain, rel=0.005)


def first_order_dip(tau_s: float, interval_s: float = 0.2, start_s: float = 6.03) -> Curve:
    time_s = np.arange(0.0, start_s + 12 * tau_s, interval_s)
    after = np.clip(time_s - start_s, 0.0, None)
    return Curve(time_s, 22.0 + 60.0 * (1.0 - np.exp(-after / tau_s)), name="probe")


@pytest.mark.parametrize("tau_s", [2.0, 8.0, 40.0])
def test_a_first_order_dip_gives_back_its_time_constant(tau_s: float) -> None:
    """Exact: t50 = tau ln 2, t90 = tau ln 10, area above the response = tau."""
    check = dip_check(first_order_dip(tau_s))

    assert isinstance(check.time_constant, Quantity)
    assert check.time_constant.value == pytest.approx(tau_s, rel=0.002)
    assert isinstance(check.ramp_lag, Quantity)
    assert check.ramp_lag.value == pytest.approx(tau_s, abs=0.11)
    assert check.t50_s == pytest.approx(tau_s * math.log(2), abs=0.15)
    assert check.t90_s == pytest.approx(tau_s * math.log(10), abs=0.15)
    assert check.ratio == pytest.approx(FIRST_ORDER_RATIO, rel=0.2 / tau_s)


def test_the_response_passes_63_per_cent_after_one_time_constant() -> None:
    """22 to 82 degC is at 59.93 degC after one time constant (exact: 1 - 1/e = 0.6321)."""
    curve = first_order_dip(8.0, interval_s=0.1, start_s=6.0)

    assert np.interp(14.0, curve.time_s, curve.value) == pytest.approx(59.93, abs=0.005)


def test_two_equal_lags_in_a_row_are_not_first_order() -> None:
    """Exact: (1 + x) e^-x = 0.5 and 0.1 at x = 1.6783 and 3.8897, a ratio of 2.318."""
    lag_s = 5.0
    time_s = np.arange(0.0, 80.0, 0.2)
    x = np.clip(time_s - 6.0, 0.0, None) / lag_s
    check = dip_check(Curve(time_s, 22.0 + 60.0 * (1.0 - (1.0 + x) * np.exp(-x)), name="probe"))

    assert check.ratio == pytest.approx(2.318, abs=0.06)
    assert isinstance(check.time_constant, NotShown)
    assert "3.32" in check.time_constant.why
    assert isinstance(check.ramp_lag, Quantity)
    assert abs(check.ramp_lag.value - 2 * lag_s) < 2 * check.ramp_lag.u < 0.5


def test_uncertainty_of_the_time_constant_covers_noisy_dips() -> None:
    """Monte Carlo: 200 dips, noise 0.1 K, step 0.0625 K, bath uneven by 0.3 K; seed fixed."""
    rng = np.random.default_rng(7)
    errors = []
    for _ in range(200):
        tau_s = rng.uniform(4.0, 20.0)
        clean = first_order_dip(tau_s, start_s=6.0 + rng.uniform(0.0, 0.2))
        bath = 0.3 * np.sin(clean.time_s / rng.uniform(3.0, 15.0)) * (clean.value > 60.0)
        shown = clean.value + bath + rng.normal(0.0, 0.1, len(clean))
        curve = Curve(
            clean.time_s, np.round(shown / 0.0625) * 0.0625, resolution=0.0625, name="probe"
        )
        result = combined_time_constant([dip_check(curve)])
        assert isinstance(result, Quantity)
        errors.append((result.value - tau_s) / result.u)

    assert np.mean(np.abs(errors) < 2.0) > 0.95


@pytest.mark.parametrize(
    ("rate_k_per_min", "tau_s", "lag_k"),
    [(3, 8, 0.40), (3, 20, 1.00), (3, 40, 2.00), (10, 8, 1.33)],
)
def test_a_ramp_trails_by_rate_times_time_constant(
    rate_k_per_min: float, tau_s: float, lag_k: float
) -> None:
    """Exact after the transient: r tau; both corrections give it back on a clean ramp."""
    time_s = np.arange(0.0, 600.0, 1.0)
    true = 20.0 + rate_k_per_min / 60.0 * time_s
    shown = true - rate_k_per_min / 60.0 * tau_s * (1.0 - np.exp(-time_s / tau_s))
    curve = Curve(time_s, shown, time_constant_s=tau_s, u_time_constant_s=1.0)

    assert true[-1] - shown[-1] == pytest.approx(lag_k, abs=0.005)
    for corrected in (unlagged(curve), unlagged_live(curve)):
        assert corrected.value[-1] == pytest.approx(true[-1], abs=1e-4)
        assert corrected.u[-1] == pytest.approx(rate_k_per_min / 60.0, rel=0.01)


def _pot(rng: np.random.Generator, tau_s: float, interval_s: float) -> tuple[Curve, np.ndarray]:
    fine_s = np.arange(0.0, 900.0, 0.05)
    rate = rng.uniform(0.5, 3.0) / 60.0
    true = np.where(fine_s < 500.0, 40.0 + rate * fine_s, 40.0 + rate * 500.0)
    true = true - 4.0 * np.clip((fine_s - 600.0) / 15.0, 0.0, 1.0)
    shown = np.empty_like(true)
    shown[0] = true[0] - rate * tau_s
    keep = math.exp(-0.05 / tau_s)
    for i in range(1, true.size):
        shown[i] = true[i] + (shown[i - 1] - true[i]) * keep
    every = round(interval_s / 0.05)
    time_s, truth = fine_s[::every], true[::every]
    readings = shown[::every] + rng.normal(0.0, 0.03, time_s.size)
    readings = np.round(readings / 0.0625) * 0.0625
    curve = Curve(
        time_s, readings, resolution=0.0625, time_constant_s=tau_s, u_time_constant_s=0.05 * tau_s
    )
    return curve, truth


@pytest.mark.parametrize(("tau_s", "interval_s"), [(3.0, 1.0), (8.0, 1.0), (8.0, 0.2), (20.0, 2.0)])
def test_uncertainty_of_the_lag_correction_holds_on_ramps_and_dips(
    tau_s: float, interval_s: float
) -> None:
    """Monte Carlo with a known truth: ramp, hob off, and a pour of 4 K in 15 s; seed fixed."""
    rng = np.random.default_rng(11)
    for correct in (unlagged, unlagged_live):
        ratio, better = [], []
        for _ in range(8):
            curve, truth = _pot(rng, tau_s, interval_s)
            corrected = correct(curve)
            usable = np.isfinite(corrected.value)
            error = corrected.value[usable] - truth[usable]
            ratio.append(np.abs(error) / corrected.u[usable])
            raw = curve.value[usable] - truth[usable]
            better.append(float(np.std(error)) < float(np.std(raw)))
        covered = float(np.mean(np.concatenate(ratio) < 2.0))
        assert covered > 0.93
        assert all(better)
