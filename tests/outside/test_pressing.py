# SPDX-License-Identifier: MIT
"""Pressure and drain against definitions, a second fitter, and Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from api.process.curves import Curve, Floats
from api.process.pressing import Drain, drain_of, pressure
from api.process.quantities import Quantity


def given(value: float, unit: str) -> Quantity:
    return Quantity(value, unit, 0.0, "given")


@pytest.mark.parametrize(
    ("load_kg", "sides_cm", "g_per_cm2", "kilopascal", "psi"),
    # Computed from the definitions: 1 g/cm2 = 98.0665 Pa, 1 psi = 6894.757 Pa.
    [
        (1.0, (10, 10), 10.0, 0.981, 0.142),
        (2.0, (12, 9), 18.52, 1.816, 0.263),
        (4.0, (12, 9), 37.04, 3.632, 0.527),
    ],
)
def test_a_weight_on_an_area_presses_as_worked_by_hand(
    load_kg: float, sides_cm: tuple[int, int], g_per_cm2: float, kilopascal: float, psi: float
) -> None:
    area_m2 = sides_cm[0] * sides_cm[1] / 1e4

    found = pressure(given(load_kg, "kg"), given(area_m2, "m2"))

    assert isinstance(found, Quantity)
    assert found.value / 1000 == pytest.approx(kilopascal, abs=0.0005)
    assert found.value / 98.0665 == pytest.approx(g_per_cm2, abs=0.005)
    assert found.value / 6894.757 == pytest.approx(psi, abs=0.0005)


def model(time_s: Floats, start: float, end: float, rate: float) -> Floats:
    whey: Floats = start + (end - start) * (1.0 - np.exp(-rate * time_s))
    return whey


def drawn(seed: int, noise_kg: float = 0.001) -> tuple[Floats, Floats]:
    time_s = np.arange(0.0, 1500.0, 10.0)
    noise = np.random.default_rng(seed).normal(0.0, noise_kg, time_s.size)
    return time_s, model(time_s, 0.020, 0.300, 1 / 400) + noise


def fitted(time_s: Floats, mass_kg: Floats) -> Drain:
    drain = drain_of(Curve(time_s, mass_kg, name="small/press"))
    assert isinstance(drain, Drain)
    return drain


def test_the_drain_agrees_with_a_second_fitter() -> None:
    time_s, mass_kg = drawn(5)
    best, covariance = curve_fit(model, time_s, mass_kg, p0=(0.0, 0.3, 0.002))  # SciPy

    found = fitted(time_s, mass_kg)

    for quantity, value, variance in zip(
        (found.start, found.end, found.rate), best, np.diag(covariance), strict=True
    ):
        assert quantity.value == pytest.approx(value, rel=1e-4)
        assert quantity.u == pytest.approx(math.sqrt(variance), rel=0.01)


def test_the_uncertainty_of_what_is_left_is_that_of_a_monte_carlo_run() -> None:
    """300 curves settle a standard deviation within 4 %, so that 16 % is four times that."""
    true_left_kg = 0.280 * math.exp(-1490 / 400)

    fits = [fitted(*drawn(seed)) for seed in range(300)]

    errors = np.array([(f.left.value - true_left_kg) / f.left.u for f in fits])
    assert errors.std() == pytest.approx(1.0, abs=0.16)
    to_95 = np.array([(f.time_to_95.value - 400 * math.log(20)) / f.time_to_95.u for f in fits])
    assert to_95.std() == pytest.approx(1.0, abs=0.16)
    assert abs(to_95.mean()) < 0.25


@pytest.mark.parametrize(
    ("total_kg", "fast_fraction", "fast_s", "slow_s", "length_s", "step_kg"),
    [
        (0.7, 0.6, 60.0, 800.0, 1500.0, 0.001),
        (2.8, 0.6, 60.0, 800.0, 1500.0, 0.002),
        (0.3, 0.3, 40.0, 500.0, 2000.0, 0.001),
    ],
)
def test_what_is_left_of_a_drain_that_was_faster_at_first_lies_in_its_interval(
    total_kg: float,
    fast_fraction: float,
    fast_s: float,
    slow_s: float,
    length_s: float,
    step_kg: float,
) -> None:
    """Two rates at once; what is left is (1 - f) m exp(-t / slow): closed form, computed."""
    true_left_kg = total_kg * (1 - fast_fraction) * math.exp(-length_s / slow_s)
    time_s = np.arange(0.0, length_s)
    slow = (1 - fast_fraction) * np.exp(-time_s / slow_s)
    whey = total_kg * (1 - fast_fraction * np.exp(-time_s / fast_s) - slow)
    pulls = []
    for seed in range(40):
        noise = np.random.default_rng(seed).normal(0.0, step_kg / 2, time_s.size)
        shown = np.round((whey + noise) / step_kg) * step_kg
        found = drain_of(Curve(time_s, shown, resolution=step_kg))
        assert isinstance(found, Drain)
        assert found.fitted_from_s > fast_s
        pulls.append((found.left.value - true_left_kg) / found.left.u)

    assert np.mean(np.abs(pulls) <= 2.0) >= 0.9
