# SPDX-License-Identifier: MIT
"""Energy of a food against printed tables, a second library, and Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from uncertainties import ufloat

from api.process.energy_table import energy_table
from api.process.ingredient_table import ingredient_table
from api.process.nutrition import nutrition_of
from api.process.quantities import Quantity, Result


def value(result: Result) -> float:
    assert isinstance(result, Quantity)
    return result.value


@pytest.mark.parametrize(
    ("product", "factors", "kcal"),
    [
        # USDA SR28, nutrient 208 [kcal/100 g]: printed values from memory; the compositions and
        # the factors 3.47, 8.37, 4.07 seen.
        ("tofu, soft", "legumes", 61.0),
        ("tofu, regular", "legumes", 76.0),
        ("tofu, firm", "legumes", 78.0),
        ("tofu, hard", "legumes", 145.0),
        # The same table, no factors printed: soymilk by the general ones.
        ("soymilk", "general", 54.0),
    ],
)
def test_energy_is_that_of_the_national_table(product: str, factors: str, kcal: float) -> None:
    food = next(p for p in ingredient_table().products if p.name == product).composition

    def exact(share: float) -> Quantity:
        return Quantity(share, "-", 0.0, "table")

    found = nutrition_of(
        exact(1.0 - food.water_fraction),
        exact(food.protein_fraction),
        exact(food.fat_fraction),
        energy_table()[factors],
        ash=exact(food.ash_fraction),
        is_estimate=False,
    )

    assert value(found.energy_kcal.value) == pytest.approx(kcal, abs=0.55)
    by_difference = food.net_carbohydrate_fraction + food.fibre_fraction
    assert value(found.carbohydrate.value) == pytest.approx(100 * by_difference, abs=0.0101)


@pytest.mark.parametrize(
    ("nutrient", "kj", "kcal"),
    # Regulation (EU) 1169/2011, annex XIV, in a consolidated copy: seen.
    [("carbohydrate", 17, 4), ("protein", 17, 4), ("fat", 37, 9), ("fibre", 8, 2)],
)
def test_factors_of_the_union_are_those_of_its_annex(nutrient: str, kj: int, kcal: int) -> None:
    factors = energy_table()["EU"]

    assert (factors.kj_per_g[nutrient], factors.kcal_per_g[nutrient]) == (kj, kcal)


SHARES = {"s": (0.155, 0.004), "p": (0.081, 0.003), "f": (0.048, 0.002), "a": (0.008, 0.001)}


def test_uncertainties_are_those_of_a_second_library() -> None:
    s, p, f, a = (ufloat(*SHARES[name]) for name in "spfa")
    energy = 100 * (17 * p + 37 * f + 17 * (s - p - f - a))  # uncertainties
    given = {name: Quantity(v, "-", u, "laboratory") for name, (v, u) in SHARES.items()}

    found = nutrition_of(
        given["s"], given["p"], given["f"], energy_table()["EU"], ash=given["a"]
    ).energy_kj

    assert isinstance(found.value, Quantity)
    assert found.value.value == pytest.approx(energy.nominal_value, rel=1e-12)
    assert found.value.u == pytest.approx(energy.std_dev, rel=1e-9)


def test_the_interval_holds_in_a_monte_carlo() -> None:
    """JCGM 101 style, 100,000 draws; ash that nobody measured is drawn as it is assumed."""
    rng = np.random.default_rng(9)
    n = 100_000
    s, p, f = (rng.normal(*SHARES[name], n) for name in "spf")
    ash = 0.155 * rng.uniform(0.0, 0.10, n)
    drawn = 100 * (17 * p + 37 * f + 17 * (s - p - f - ash))
    given = {name: Quantity(v, "-", u, "laboratory") for name, (v, u) in SHARES.items()}

    found = nutrition_of(given["s"], given["p"], given["f"], energy_table()["EU"])

    energy = found.energy_kj
    assert isinstance(energy.value, Quantity)
    assert energy.interval is not None
    assert energy.value.value == pytest.approx(float(drawn.mean()), abs=0.2)
    assert energy.value.u == pytest.approx(float(drawn.std()), rel=0.02)
    inside = (drawn >= energy.interval[0]) & (drawn <= energy.interval[1])
    assert float(inside.mean()) == pytest.approx(math.erf(2 / math.sqrt(2)), abs=0.006)
