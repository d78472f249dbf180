# SPDX-License-Identifier: MIT
"""Mixtures against exact cases, plain arithmetic, Monte Carlo, and properties that must hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.process.composition import SOYMILK, WATER
from api.process.mixing import (
    STAINLESS_STEEL,
    Part,
    milk_temperature_for,
    mixture,
    part_of,
    slurry_mass_for,
)
from api.process.quantities import Quantity


def exact(value: float, unit: str) -> Quantity:
    return Quantity(value, unit, 0.0, "given")


def part(mass_kg: float, temperature_degc: float, heat_kj_per_kg_k: float) -> Part:
    return Part(
        "part",
        exact(mass_kg, "kg"),
        exact(temperature_degc, "degC"),
        exact(1000.0 * heat_kj_per_kg_k, "J/(kg K)"),
    )


def test_equal_masses_meet_in_the_middle() -> None:
    """50.00 degC; exact."""
    assert mixture([part(1.0, 80.0, 4.0), part(1.0, 20.0, 4.0)]).value == pytest.approx(50.0)


MILK_DEGC, SLURRY_DEGC = (180.0 - 32.0) * 5 / 9, (70.0 - 32.0) * 5 / 9


# Plain arithmetic, sum(m c T)/sum(m c); computed by hand.
@pytest.mark.parametrize(
    ("parts", "expected_degc"),
    [
        ([part(2.0, 85.0, 3.92), part(0.25, 20.0, 4.18)], 77.36),
        ([part(3.0, MILK_DEGC, 3.92), part(0.060, SLURRY_DEGC, 4.18)], 80.95),
        ([part(3.0, MILK_DEGC, 3.92), part(0.120, SLURRY_DEGC, 4.18)], 79.72),
        ([part(3.0, MILK_DEGC, 3.92), part(0.240, SLURRY_DEGC, 4.18)], 77.42),
        ([part(3.0, MILK_DEGC, 3.92), part(0.320, SLURRY_DEGC, 4.18)], 75.98),
        ([part(3.0, MILK_DEGC, 3.92), part(0.475, SLURRY_DEGC, 4.18)], 73.39),
        # The same with 1.2 kg of stainless steel (0.50) at the temperature of the milk.
        (
            [
                part(3.0, MILK_DEGC, 3.92),
                part(0.240, SLURRY_DEGC, 4.18),
                part(1.2, MILK_DEGC, 0.50),
            ],
            77.63,
        ),
    ],
)
def test_milk_and_slurry(parts: list[Part], expected_degc: float) -> None:
    assert mixture(parts).value == pytest.approx(expected_degc, abs=0.006)


def test_heat_capacities_by_composition_move_the_mixture_by_less_than_a_probe_sees() -> None:
    """77.41 degC with Choi and Okos for soymilk (USDA 16120) and water; computed elsewhere."""
    milk = part_of("milk", exact(3.0, "kg"), exact(82.22, "degC"), SOYMILK)
    slurry = part_of("slurry", exact(0.240, "kg"), exact(21.11, "degC"), WATER)

    assert mixture([milk, slurry]).value == pytest.approx(77.41, abs=0.006)


def test_slurry_for_180_to_165_fahrenheit() -> None:
    """15/95 of the milk at 70 degF and equal heat capacities; exact. 0.1481 at 3.92 and 4.18."""
    milk_degc, target_degc, slurry_degc = (5 / 9 * (f - 32) for f in (180.0, 165.0, 70.0))

    equal = slurry_mass_for(target_degc, part(1, slurry_degc, 4.0), [part(1, milk_degc, 4.0)])
    usual = slurry_mass_for(target_degc, part(1, slurry_degc, 4.18), [part(1, milk_degc, 3.92)])

    assert equal.value == pytest.approx(15 / 95, abs=1e-12)
    assert usual.value == pytest.approx(0.1481, abs=5e-5)


def test_uncertainty_of_a_mixture_holds_in_a_monte_carlo() -> None:
    """JCGM 101 style, 40 000 draws; the wall shares the error of the milk; seed fixed."""
    rng = np.random.default_rng(42)
    n = 40_000
    milk_degc = Quantity(82.0, "degC", 0.4, "probe")
    slurry_degc = Quantity(21.0, "degC", 3.0, "room")
    milk_heat = Quantity(3920.0, "J/(kg K)", 80.0, "usual")
    slurry_heat = exact(4180.0, "J/(kg K)")
    milk = Part("milk", Quantity(3.0, "kg", 0.03, "scale"), milk_degc, milk_heat)
    slurry = Part("slurry", Quantity(0.3, "kg", 0.01, "scale"), slurry_degc, slurry_heat)
    wall = Part("wall", Quantity(1.2, "kg", 0.2, "guess"), milk_degc, STAINLESS_STEEL)

    result = mixture([milk, slurry, wall])

    m1, m2, m3 = (p.mass.value + p.mass.u * rng.normal(size=n) for p in (milk, slurry, wall))
    t1, t2 = 82.0 + 0.4 * rng.normal(size=n), 21.0 + 3.0 * rng.normal(size=n)
    c1, c3 = 3920.0 + 80.0 * rng.normal(size=n), 500.0 + 20.0 * rng.normal(size=n)
    hot, cold = m1 * c1 + m3 * c3, m2 * 4180.0
    drawn = (hot * t1 + cold * t2) / (hot + cold)
    assert result.value == pytest.approx(float(np.mean(drawn)), abs=0.01)
    assert result.u == pytest.approx(float(np.std(drawn)), rel=0.03)


def test_uncertainty_of_the_way_back_holds_in_a_monte_carlo() -> None:
    """JCGM 101 style, 40 000 draws of masses, slurry temperature and heat capacity."""
    rng = np.random.default_rng(43)
    n = 40_000
    milk_heat = Quantity(3920.0, "J/(kg K)", 80.0, "usual")
    milk = Part("milk", Quantity(3.0, "kg", 0.05, ""), Quantity(82.0, "degC", 0.3, ""), milk_heat)
    slurry = Part(
        "slurry",
        Quantity(0.3, "kg", 0.01, ""),
        Quantity(21.0, "degC", 3.0, ""),
        exact(4180.0, "J/(kg K)"),
    )

    temperature = milk_temperature_for(76.0, slurry, [milk])
    mass = slurry_mass_for(76.0, slurry, [milk])

    m1, m2 = 3.0 + 0.05 * rng.normal(size=n), 0.3 + 0.01 * rng.normal(size=n)
    t1, t2 = 82.0 + 0.3 * rng.normal(size=n), 21.0 + 3.0 * rng.normal(size=n)
    c1 = 3920.0 + 80.0 * rng.normal(size=n)
    needed = 76.0 + m2 * 4180.0 * (76.0 - t2) / (m1 * c1)
    slurry_kg = m1 * c1 * (t1 - 76.0) / (4180.0 * (76.0 - t2))
    assert temperature.value == pytest.approx(float(np.mean(needed)), abs=0.02)
    assert temperature.u == pytest.approx(float(np.std(needed)), rel=0.03)
    assert mass.value == pytest.approx(float(np.mean(slurry_kg)), rel=0.01)
    assert mass.u == pytest.approx(float(np.std(slurry_kg)), rel=0.03)


masses = st.floats(0.001, 50.0)
temperatures = st.floats(0.0, 100.0)
heats = st.floats(0.4, 4.3)


@given(
    st.lists(st.tuples(masses, temperatures, heats), min_size=1, max_size=5),
    st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_a_mixture_lies_between_its_parts(
    drawn: list[tuple[float, float, float]], by_composition: bool
) -> None:
    parts = [part(*values) for values in drawn]
    if by_composition:
        first = parts[0]
        parts[0] = part_of("milk", first.mass, first.temperature, SOYMILK)
    low = min(p.temperature.value for p in parts)
    high = max(p.temperature.value for p in parts)

    assert low - 1e-9 <= mixture(parts).value <= high + 1e-9


@given(masses, st.floats(60.0, 99.0), st.floats(0.0, 40.0), st.floats(0.05, 0.95))
@settings(max_examples=100, deadline=None)
def test_the_ways_back_lead_to_the_target(
    milk_kg: float, milk_degc: float, slurry_degc: float, share: float
) -> None:
    target = slurry_degc + share * (milk_degc - slurry_degc)
    milk = part_of("milk", exact(milk_kg, "kg"), exact(milk_degc, "degC"), SOYMILK)

    mass = slurry_mass_for(target, part(1.0, slurry_degc, 4.18), [milk])
    slurry = part(mass.value, slurry_degc, 4.18)

    assert mixture([milk, slurry]).value == pytest.approx(target, abs=1e-6)
    assert milk_temperature_for(target, slurry, [milk]).value == pytest.approx(milk_degc, abs=1e-6)
