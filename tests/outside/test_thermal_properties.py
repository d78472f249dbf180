# SPDX-License-Identifier: MIT
"""Thermal properties against printed tables, a worked class example, and a second library."""

from __future__ import annotations

import pytest
from iapws import IAPWS97
from scipy.integrate import quad

from api.process.components import (
    Component,
    component_conductivity,
    component_density,
    component_specific_heat,
)
from api.process.composition import SOYMILK, Composition
from api.process.thermal import conductivity, density, enthalpy_difference, specific_heat


def test_density_of_the_purdue_class_example() -> None:
    """12 % protein, 5 % carbohydrate, 83 % water at 22 degC.

    1045.8 kg/m3: Purdue University ABE 557 class file rhonew.m, worked call in its header; seen.
    """
    food = Composition.from_net_carbohydrate(
        water_fraction=0.83,
        protein_fraction=0.12,
        fat_fraction=0.0,
        net_carbohydrate_fraction=0.05,
        fibre_fraction=0.0,
        ash_fraction=0.0,
    )

    assert density(food, 22.0) == pytest.approx(1045.8, abs=0.1)


@pytest.mark.parametrize(
    ("component", "printed_kg_m3", "tolerance"),
    [
        # ASHRAE Handbook Refrigeration, Thermal Properties of Foods, Example 4; second hand.
        (Component.WATER, 991.04, 0.005),
        (Component.PROTEIN, 1350.6, 0.05),
        # The same example, printed values from memory.
        (Component.FAT, 942.29, 0.05),
        (Component.ASH, 2435.0, 0.05),
    ],
)
def test_component_densities_of_the_lean_pork_example_at_minus_40(
    component: Component, printed_kg_m3: float, tolerance: float
) -> None:
    assert component_density(component, -40.0) == pytest.approx(printed_kg_m3, abs=tolerance)


# ASHRAE Handbook Refrigeration, table of unfrozen composition and specific heat above freezing;
# seen. Per cent of water, protein, fat, total carbohydrate (fibre included), fibre, ash, then the
# printed specific heat [kJ/(kg K)].
VEGETABLES = {
    "asparagus": (92.40, 2.28, 0.20, 4.54, 2.10, 0.57, 4.03),
    "lima beans": (70.24, 6.84, 0.86, 20.16, 4.90, 1.89, 3.52),
    "sweet corn": (75.96, 3.22, 1.18, 19.02, 2.70, 0.62, 3.62),
    "garlic": (58.58, 6.36, 0.50, 33.07, 2.10, 1.50, 3.17),
    "horseradish": (78.66, 9.40, 1.40, 8.28, 2.00, 2.26, 3.70),
    "leeks": (83.00, 1.50, 0.30, 14.15, 1.80, 1.05, 3.77),
    "iceberg lettuce": (95.89, 1.01, 0.19, 2.09, 1.40, 0.48, 4.09),
}


@pytest.mark.parametrize("food", VEGETABLES)
def test_printed_specific_heats_come_out_when_fibre_is_counted_twice(food: str) -> None:
    """The printed column holds only with total carbohydrate and fibre side by side, at 20 degC.

    That is an inference from the numbers; it tests the six polynomials all the same.
    """
    *per_cent, printed = VEGETABLES[food]

    counted_twice = sum(
        share / 100.0 * component_specific_heat(component, 20.0)
        for component, share in zip(Component, per_cent, strict=True)
    ) / 1000.0  # fmt: skip

    assert list(Component)[3:5] == [Component.CARBOHYDRATE, Component.FIBRE]
    assert counted_twice == pytest.approx(printed, abs=0.006)


@pytest.mark.parametrize("food", VEGETABLES)
def test_a_composition_does_not_count_fibre_twice(food: str) -> None:
    water, protein, fat, carbohydrate, fibre, ash, printed = VEGETABLES[food]
    composition = Composition.from_carbohydrate_by_difference(
        water_fraction=water / 100,
        protein_fraction=protein / 100,
        fat_fraction=fat / 100,
        carbohydrate_fraction=carbohydrate / 100,
        fibre_fraction=fibre / 100,
        ash_fraction=ash / 100,
    )

    excess = printed - specific_heat(composition, 20.0) / 1000.0

    # The second count took the fibre for carbohydrate, whose specific heat is 1.586 kJ/(kg K).
    assert excess == pytest.approx(1.586 * fibre / 100, abs=0.006)


@pytest.mark.parametrize("temperature_degc", [10.0, 20.0, 40.0, 60.0, 80.0, 95.0])
def test_water_agrees_with_iapws(temperature_degc: float) -> None:
    """Second library: iapws, IAPWS-IF97 at 0.101325 MPa; computed."""
    water = IAPWS97(T=temperature_degc + 273.15, P=0.101325)

    heat = component_specific_heat(Component.WATER, temperature_degc)
    assert heat == pytest.approx(1000.0 * water.cp, rel=0.005)
    assert component_density(Component.WATER, temperature_degc) == pytest.approx(
        water.rho, rel=0.004
    )
    assert component_conductivity(Component.WATER, temperature_degc) == pytest.approx(
        water.k, rel=0.02
    )


@pytest.mark.parametrize(
    ("water_fraction", "siebel"),
    [
        # Siebel (1892), fat-free food above freezing, 0.837 + 3.349 x_w [kJ/(kg K)]; coefficients
        # seen, values computed. Another model: agreement within 3 % is what it can give.
        (0.95, 4.019),
        (0.90, 3.851),
    ],
)
def test_a_fat_free_milk_agrees_with_siebel(water_fraction: float, siebel: float) -> None:
    solids = 1.0 - water_fraction
    food = Composition.from_net_carbohydrate(
        water_fraction=water_fraction,
        protein_fraction=0.5 * solids,
        fat_fraction=0.0,
        net_carbohydrate_fraction=0.5 * solids,
        fibre_fraction=0.0,
        ash_fraction=0.0,
    )

    assert specific_heat(food, 20.0) / 1000.0 == pytest.approx(siebel, rel=0.03)


@pytest.mark.parametrize(("start", "end"), [(20.0, 98.0), (82.0, 21.0), (-15.0, 30.0)])
def test_enthalpy_is_the_integral_of_the_specific_heat(start: float, end: float) -> None:
    """Exact identity, by numerical integration with scipy."""
    expected, _ = quad(lambda t: specific_heat(SOYMILK, t), start, end, points=[0.0])

    assert enthalpy_difference(SOYMILK, start, end) == pytest.approx(expected, rel=1e-9)


def test_conductivity_of_fat_keeps_its_small_slope() -> None:
    """0.164 W/(m K) at 60 degC; a slope copied ten times too large gives 0.014; computed."""
    assert component_conductivity(Component.FAT, 60.0) == pytest.approx(0.164, abs=0.001)


def test_milk_conducts_less_than_water_and_more_than_its_solids() -> None:
    water = component_conductivity(Component.WATER, 80.0)

    assert 0.85 * water < conductivity(SOYMILK, 80.0) < water
