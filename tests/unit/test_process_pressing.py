# SPDX-License-Identifier: MIT
"""What a press tells, and what it can't."""

from __future__ import annotations

import numpy as np
import pytest

from api.process.curves import Curve
from api.process.pressing import drain_of, pressure, slow_since
from api.process.quantities import NotShown, Quantity

T0 = 1_700_000_000.0


def whey(rate_per_s: float, length_s: float, step_s: float = 10.0, end_kg: float = 0.3) -> Curve:
    time_s = np.arange(0.0, length_s, step_s)
    return Curve(T0 + time_s, end_kg * (1 - np.exp(-rate_per_s * time_s)), resolution=0.0001)


def test_pressure_carries_the_uncertainty_of_load_and_area() -> None:
    found = pressure(
        Quantity(2.0, "kg", 0.02, "weighed"), Quantity(0.0108, "m2", 0.000216, "ruler")
    )

    assert isinstance(found, Quantity)
    assert found.u / found.value == pytest.approx((0.01**2 + 0.02**2) ** 0.5)


def test_a_press_without_area_presses_nothing() -> None:
    load = Quantity(2.0, "kg", 0.0, "weighed")

    assert isinstance(pressure(load, Quantity(0.0, "m2", 0.0, "ruler")), NotShown)


def test_a_drain_is_shifted_with_its_clock_and_says_what_is_left() -> None:
    found = drain_of(whey(1 / 300, 900))

    assert not isinstance(found, NotShown)
    assert found.end.value == pytest.approx(0.3, abs=1e-3)
    assert found.left.value == pytest.approx(0.3 * np.exp(-890 / 300), rel=0.02)


def test_a_drain_that_has_not_bent_yet_tells_no_end() -> None:
    assert isinstance(drain_of(whey(1 / 30000, 300)), NotShown)


@pytest.mark.parametrize(
    "curve",
    [whey(1 / 300, 50), Curve(T0 + np.arange(20.0), np.full(20, 0.1), resolution=0.001)],
)
def test_too_few_or_unmoving_readings_tell_nothing(curve: Curve) -> None:
    assert isinstance(drain_of(curve), NotShown)


def test_whey_that_shrinks_is_no_drain() -> None:
    time_s = np.arange(0.0, 900.0, 10.0)

    assert isinstance(drain_of(Curve(T0 + time_s, 0.3 * np.exp(-time_s / 300))), NotShown)


def test_the_rest_is_not_worth_a_wait_once_three_minutes_gave_hardly_anything() -> None:
    """0.3 exp(-t/300) kg: 3 g over three minutes for 1 kg of curd from t = 1143 s on (by hand)."""
    moment = slow_since(whey(1 / 300, 3000), 1.0)

    assert moment is not None
    start_s = 300 * np.log(0.3 * (1 - np.exp(-180 / 300)) / 0.003)
    assert moment - T0 == pytest.approx(start_s + 180, abs=10.0)
    assert slow_since(whey(1 / 300, 600), 1.0) is None
    assert slow_since(whey(1 / 300, 3000), 0.0) is None
    assert slow_since(Curve(np.array([]), np.array([])), 1.0) is None
