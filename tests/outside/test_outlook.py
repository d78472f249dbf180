# SPDX-License-Identifier: MIT
"""The outlook against closed forms, an exact integration, and pots drawn at random."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.stats import norm

from api.process.boiling import saturation_pressure
from api.process.curves import Curve
from api.process.newton_cooling import time_to_reach
from api.process.outlook import Course, Expected, course_of, time_to_boil, time_to_target
from api.process.outlook_beliefs import PotKnown
from api.process.quantities import NotShown, Quantity
from api.process.vapour_drive import usual_drive_table, vapour_drive

BOILING = Quantity(99.974, "degC", 0.1, "one atmosphere")
ROOM = Quantity(20.0, "degC", 0.5, "measured")
PRESSURE_PA = 101_325.0


def asked(curve: Curve, now_s: float, target_degc: float | None, approach: str) -> Expected:
    known = PotKnown(BOILING, room=ROOM, milk=Quantity(3.0, "kg", 0.01, "weighed"))
    course = course_of(curve, known, now_s)
    assert isinstance(course, Course), course
    found = time_to_boil(course) if target_degc is None else (
        time_to_target(course, target_degc, approach)
    )  # fmt: skip
    assert isinstance(found, Expected), found
    return found


def quick_probe(time_s: np.ndarray, value: np.ndarray, noise_k: float, seed: int) -> Curve:
    noisy = value + noise_k * np.random.default_rng(seed).standard_normal(time_s.size)
    return Curve(time_s, noisy, time_constant_s=0.01, u_time_constant_s=0.0, name="milk")


@pytest.mark.parametrize("rate_per_s", [1.0e-4, 2.0e-4])
def test_covered_milk_reaches_its_target_when_newton_says(rate_per_s: float) -> None:
    # Newton's law of cooling, closed form (definition): 95 to 85 degC in a room of 20 degC.
    true_s = time_to_reach(95.0, 85.0, 20.0, rate_per_s)
    time_s = np.arange(0.0, true_s / 2.0, 2.0)
    curve = quick_probe(time_s, 20.0 + 75.0 * np.exp(-rate_per_s * time_s), 0.02, 1)
    now_s = float(time_s[-1])
    found = asked(curve, now_s, 85.0, "falling")

    assert found.at_s - now_s == pytest.approx(true_s - now_s, rel=0.1)
    assert found.earliest_s <= true_s <= found.latest_s


@pytest.mark.parametrize("power_k_per_s", [0.04, 0.1])
def test_milk_without_vapour_warms_as_the_closed_form_says(power_k_per_s: float) -> None:
    # T = Ta + a/k (1 - exp(-k t)), closed form of C dT/dt = P - UA (T - Ta) (definition).
    loss_per_s = 1.2e-4
    true_s = -math.log(1.0 - 45.0 * loss_per_s / power_k_per_s) / loss_per_s
    time_s = np.arange(0.0, true_s / 2.0, 2.0)
    rise = power_k_per_s / loss_per_s * (1.0 - np.exp(-loss_per_s * time_s))
    now_s = float(time_s[-1])
    found = asked(quick_probe(time_s, 20.0 + rise, 0.02, 2), now_s, 65.0, "rising")

    assert found.at_s - now_s == pytest.approx(true_s - now_s, rel=0.06)
    assert found.earliest_s <= true_s <= found.latest_s


def solved(power: float, loss: float, vapour: float, start_degc: float, goal_degc: float):  # type: ignore[no-untyped-def]
    """Return scipy's own solution of the heat balance up to a goal, to 1e-8."""
    table = [
        (t, -math.log1p(-min(saturation_pressure(t) / PRESSURE_PA, 0.9)))
        for t in np.linspace(1.0, 105.0, 417)
    ]
    degc, drive = np.array(table).T
    usual = float(np.interp(95.0, degc, drive))

    def slope(_: float, y: np.ndarray) -> list[float]:
        lost = loss * (y[0] - 20.0) + vapour * float(np.interp(y[0], degc, drive)) / usual
        return [power - lost]

    def there(_: float, y: np.ndarray) -> float:
        return float(y[0] - goal_degc)

    there.terminal = True  # type: ignore[attr-defined]
    return solve_ivp(
        slope, (0.0, 20_000.0), [start_degc], events=there, dense_output=True, rtol=1e-8, atol=1e-8
    )


@pytest.mark.parametrize(
    ("power", "vapour", "start_degc", "goal_degc", "approach"),
    [
        (0.10, 0.04, 20.0, 80.0, "rising"),
        (0.07, 0.03, 15.0, 75.0, "rising"),
        (0.0, 0.045, 98.0, 82.0, "falling"),
        (0.0, 0.02, 96.0, 84.0, "falling"),
        (0.12, 0.045, 20.0, None, "boil"),
    ],
)
def test_an_open_pot_gets_there_when_an_exact_solution_says(
    power: float, vapour: float, start_degc: float, goal_degc: float | None, approach: str
) -> None:
    # Reference: scipy.integrate.solve_ivp, relative tolerance 1e-8 (computed).
    solution = solved(power, 1.0e-4, vapour, start_degc, goal_degc or BOILING.value)
    true_s = float(solution.t_events[0][0])
    time_s = np.arange(0.0, true_s / 2.0, 2.0)
    now_s = float(time_s[-1])
    found = asked(quick_probe(time_s, solution.sol(time_s)[0], 0.03, 3), now_s, goal_degc, approach)

    assert found.at_s - now_s == pytest.approx(true_s - now_s, rel=0.08)
    assert found.earliest_s <= true_s <= found.latest_s


@pytest.mark.parametrize("approach", ["rising", "falling"])
def test_nine_in_ten_pots_get_there_within_the_interval(approach: str) -> None:
    # Monte Carlo (computed): 60 pots drawn as believed of 3 kg, noise 0.05 K; at 90 % the
    # binomial distribution leaves fewer than 46 of 60 with a chance below one in a thousand.
    rng = np.random.default_rng(11)
    held = shown = 0
    for seed in range(60):
        size = math.exp(0.25 * rng.standard_normal())
        loss = size * 1.05e-4 * (1.0 + 0.3 * rng.uniform(-1.0, 1.0))
        vapour = size * 0.045 * (1.0 + 0.5 * rng.uniform(-1.0, 1.0))
        rising = approach == "rising"
        power = rng.uniform(0.05, 0.12) + vapour if rising else 0.0
        goal_degc = rng.uniform(66.0, 85.0)
        start_degc = rng.uniform(8.0, 25.0) if rising else rng.uniform(92.0, 98.0)
        solution = solved(power, loss, vapour, start_degc, goal_degc)
        true_s = float(solution.t_events[0][0])
        time_s = np.arange(0.0, true_s / 2.0, 2.0)
        now_s = float(time_s[-1])
        curve = quick_probe(time_s, solution.sol(time_s)[0], 0.05, seed)
        found = asked(curve, now_s, goal_degc, approach)
        shown += 1
        held += found.earliest_s <= true_s <= found.latest_s

    assert shown == 60
    assert held >= 46


def test_vapour_is_driven_as_a_film_of_stagnant_air_says() -> None:
    # ln(p/(p - ps)) (Stefan) with ps(95 degC) = 84.609 kPa (IAPWS-IF97 tables, from memory).
    drive = float(vapour_drive(np.array([95.0]), PRESSURE_PA)[0])

    assert drive == pytest.approx(math.log(101.325 / (101.325 - 84.609)), rel=1e-3)
    assert float(np.interp(95.0, np.linspace(0.5, 110.5, 441), usual_drive_table(PRESSURE_PA))) == (
        pytest.approx(1.0, rel=2e-3)
    )


def test_the_interval_is_one_of_nine_in_ten() -> None:
    # A doubtful boiling point alone: u of 3 K at a known slope gives +-1.645 u / slope (JCGM 100,
    # 6.2; the factor 1.645 of a normal distribution, table G.1, from memory).
    time_s = np.arange(0.0, 600.0, 1.0)
    curve = quick_probe(time_s, 20.0 + 0.1 * time_s, 0.01, 4)
    widths = []
    for u_k in (1.0, 3.0):
        known = PotKnown(
            Quantity(94.0, "degC", u_k, "stated"), room=ROOM, milk=Quantity(3.0, "kg", 0.01, "w")
        )
        course = course_of(curve, known, 599.0)
        assert not isinstance(course, NotShown)
        found = time_to_boil(course)
        assert isinstance(found, Expected)
        widths.append(found.latest_s - found.earliest_s)
    slowest_k_per_s, fastest_k_per_s = 0.03, 0.11
    wider_s = math.sqrt(max(widths[1] ** 2 - widths[0] ** 2, 0.0))
    doubt_k = 2.0 * float(norm.ppf(0.95)) * math.sqrt(3.0**2 - 1.0**2)

    assert doubt_k / fastest_k_per_s < wider_s < doubt_k / slowest_k_per_s
