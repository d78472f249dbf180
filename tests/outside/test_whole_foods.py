# SPDX-License-Identifier: MIT
"""Heat capacity, density and conductivity of whole foods against tables, books and arithmetic."""

from __future__ import annotations

import pytest

from api.process.coagulant import MILK_DENSITY
from api.process.composition import SOYMILK, Composition
from api.process.ingredient_table import ingredient_table
from api.process.milk import milk_composition
from api.process.quantities import Quantity
from api.process.thermal import (
    MILK_SPECIFIC_HEAT,
    conductivity,
    density,
    enthalpy_difference,
    specific_heat,
)


def composition_of(name: str) -> Composition:
    table = ingredient_table()
    for product in table.products:
        if product.name == name:
            return product.composition
    return table.ingredients[name].rows[0].composition


@pytest.mark.parametrize(
    ("food", "heats", "densities", "conductivities"),
    # Choi and Okos with carbohydrate net of fibre, worked out apart from this program: specific
    # heat at 20, 60, 80 and 100 degC [kJ/(kg K)], density and conductivity at 20 and 80 degC;
    # computed. Compositions: USDA SR28 (seen).
    [
        ("soymilk", (3.888, 3.906, 3.921, 3.939), (1029.8, 1007.0), (0.569, 0.632)),
        ("tofu, regular", (3.830, 3.849, 3.864, 3.882), (1022.9, 999.8), (0.550, 0.610)),
        ("tofu, firm", (3.790, 3.810, 3.825, 3.843), (1030.8, 1007.6), (0.547, 0.607)),
        ("soybean", (2.060, 2.107, 2.127, 2.145), (1247.0, 1220.0), (0.246, 0.283)),
        ("hemp seed", (2.047, 2.092, 2.110, 2.126), (1104.0, 1077.0), (0.214, 0.227)),
    ],
)
def test_whole_foods_are_as_worked_out_apart(
    food: str,
    heats: tuple[float, ...],
    densities: tuple[float, float],
    conductivities: tuple[float, float],
) -> None:
    made_of = composition_of(food)

    for degc, expected in zip((20.0, 60.0, 80.0, 100.0), heats, strict=True):
        assert specific_heat(made_of, degc) / 1000.0 == pytest.approx(expected, abs=0.0006)
    for degc, expected in zip((20.0, 80.0), densities, strict=True):
        assert density(made_of, degc) == pytest.approx(expected, abs=0.6)
    for degc, expected in zip((20.0, 80.0), conductivities, strict=True):
        assert conductivity(made_of, degc) == pytest.approx(expected, abs=0.0006)


def test_a_batch_of_milk_takes_as_much_heat_as_worked_by_hand() -> None:
    # Soymilk 16120 from 20 to 98 degC, 304.82 kJ/kg: computed.
    assert enthalpy_difference(SOYMILK, 20.0, 98.0) / 1000.0 == pytest.approx(304.82, abs=0.005)
    # 3 kg at 3.92 kJ/(kg K) from 20 to 100 degC, 940.8 kJ: plain arithmetic.
    assert 3.0 * MILK_SPECIFIC_HEAT.value * 80.0 / 1000.0 == pytest.approx(940.8)


@pytest.mark.parametrize(
    ("milk", "printed"),
    [
        # Geankoplis, Transport Processes and Separation Process Principles, appendix A.4, heat
        # capacities of foods [kJ/(kg K)]; seen. Compositions: USDA SR28 01077 and 01151, in per
        # cent of water, protein, fat, carbohydrate, ash; from memory.
        ((88.13, 3.15, 3.25, 4.80, 0.67), 3.85),
        ((90.84, 3.37, 0.08, 4.96, 0.75), 4.00),
    ],
)
def test_cow_s_milk_comes_out_near_the_printed_heat_capacity(
    milk: tuple[float, ...], printed: float
) -> None:
    """Another animal, another table: within 2 %, which the component equations claim by far."""
    water, protein, fat, carbohydrate, ash = (share / 100.0 for share in milk)
    made_of = Composition.from_net_carbohydrate(
        water_fraction=water,
        protein_fraction=protein,
        fat_fraction=fat,
        net_carbohydrate_fraction=carbohydrate,
        fibre_fraction=0.0,
        ash_fraction=ash,
    )

    assert specific_heat(made_of, 20.0) / 1000.0 == pytest.approx(printed, rel=0.02)


def test_the_formulated_food_of_a_textbook() -> None:
    """Toledo, Fundamentals of Food Process Engineering, chapter 5: 2865 to 2870 J/(kg K).

    15 % protein, 20 % starch, 1 % fibre, 0.5 % ash, 20 % fat, 43.5 % water at 25 degC; problem
    and range from memory, 2869.8 by the same equations apart from this program: computed.
    """
    food = Composition.from_net_carbohydrate(
        water_fraction=0.435,
        protein_fraction=0.15,
        fat_fraction=0.20,
        net_carbohydrate_fraction=0.20,
        fibre_fraction=0.01,
        ash_fraction=0.005,
    )

    assert specific_heat(food, 25.0) == pytest.approx(2869.8, abs=1.0)


def test_a_thin_milk_of_five_per_cent_holds_4_08_kilojoules() -> None:
    # Worked out apart from this program, two decimals: computed.
    thin = milk_composition({"soybean": 1.0}, Quantity(0.05, "-", 0.0, "given"))

    assert isinstance(thin, Composition)
    assert specific_heat(thin, 60.0) / 1000.0 == pytest.approx(4.08, abs=0.01)


@pytest.mark.parametrize("percent", [5.0, 8.5, 12.0])
@pytest.mark.parametrize("name", ["soybean", "yellow pea", "sesame", "fava bean"])
def test_the_usual_density_of_a_milk_holds_those_of_its_usual_solids(
    name: str, percent: float
) -> None:
    """Choi and Okos at 20 degC for 5 to 12 % of solids: within two of its u; computed."""
    milk = milk_composition({name: 1.0}, Quantity(percent / 100, "-", 0.0, "given"))

    assert isinstance(milk, Composition)
    assert abs(density(milk, 20.0) - MILK_DENSITY.value) < 2.0 * MILK_DENSITY.u
